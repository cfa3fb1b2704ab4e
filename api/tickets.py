"""Scale tickets: what a buyer weighed, tested and paid, in the ticket's own figures."""

from __future__ import annotations

from django.db.models import Q

from api.fields import ChoiceField, ExactField, MomentField, ReferenceField, TextField, optional
from api.filters import Parameter, choice, of_customer, reference, season
from api.record_serializer import GroupSerializer, RecordSerializer
from api.resources import Resource
from dryrecords.harvest import services
from dryrecords.harvest.models import Crop, Ticket


def exactly(name: str) -> Parameter:
    return Parameter(TextField(), f"Only with exactly this {name}.", lambda value: Q(**{name: value}))


class StatedSerializer(GroupSerializer):
    model = Ticket
    prefix = "stated_"

    net_bu = optional(ExactField)
    shrink_bu = optional(ExactField)
    moisture_discount_usd = optional(ExactField)
    drying_charge_usd = optional(ExactField)
    net_amount_usd = optional(ExactField)


class TicketSerializer(RecordSerializer):
    model = Ticket

    number = TextField(100)
    buyer = TextField(help_text="The buyer's name, written as on its schedules.")
    crop = ChoiceField(Crop.choices)
    delivered_at = MomentField()
    disposition = ChoiceField(Ticket.Disposition.choices, required=False, help_text="Left out: sold.")
    customer = optional(ReferenceField, help_text="Whose grain it was, where no lot tells.")
    lot = optional(ReferenceField)
    gross_lb = ExactField()
    tare_lb = ExactField()
    moisture_pct = ExactField()
    test_weight_lb_bu = optional(ExactField)
    price_usd_bu = optional(ExactField)
    stated = StatedSerializer(help_text="What the buyer made of it. Given, it replaces all that was stated before.")


TICKETS = Resource(
    "Loads that were delivered, and what the buyer made of them.",
    TicketSerializer,
    services.tickets,
    {
        "buyer": exactly("buyer"),
        "number": exactly("number"),
        "crop": choice(Crop, "crop"),
        "disposition": choice(Ticket.Disposition, "disposition"),
        "customer": of_customer(Ticket),
        "lot": reference("lot", "lot_id"),
        "season": Parameter(
            season().field, "Only of this harvest year: the lot's, or that of the delivery.", Ticket.of_season
        ),
    },
)
