"""Customers and sites."""

from __future__ import annotations

from api.fields import ReferenceField, TextField, ZoneField, optional
from api.filters import of_customer
from api.quantities import QuantityField
from api.record_serializer import RecordSerializer
from api.resources import Resource
from dryrecords.tenancy import services
from dryrecords.tenancy.models import Customer, Site


class CustomerSerializer(RecordSerializer):
    model = Customer

    name = TextField()
    reference = optional(TextField, 100, help_text="The customer's number in another system.")


class SiteSerializer(RecordSerializer):
    model = Site

    customer = ReferenceField()
    name = TextField()
    timezone = ZoneField(help_text="IANA time zone: days and harvest years are the site's own.")
    latitude = optional(QuantityField)
    longitude = optional(QuantityField)
    elevation_ft = optional(QuantityField)


RESOURCES = (
    Resource("Whose grain it is.", CustomerSerializer, services.customers, {}),
    Resource("Where dryers and bins stand.", SiteSerializer, services.sites, {"customer": of_customer(Site)}),
)
