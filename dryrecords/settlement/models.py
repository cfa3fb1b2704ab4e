"""Tables: discount schedules, audits and their findings."""

from dryrecords.settlement.audit_model import Audit as Audit
from dryrecords.settlement.audit_model import Finding as Finding
from dryrecords.settlement.schedule_model import Schedule as Schedule
