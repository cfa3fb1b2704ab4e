"""Tests of the numeric core: properties, Monte Carlo, odd inputs."""
