"""Tables: discount schedules."""

from dryrecords.settlement.schedule_model import Schedule as Schedule
