"""Tests of the REST edge, through the WSGI handler."""
