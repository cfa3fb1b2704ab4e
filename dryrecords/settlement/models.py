"""Tables of settlement."""

from dryrecords.settlement.audit_model import Audit as Audit
from dryrecords.settlement.audit_model import Finding as Finding
from dryrecords.settlement.rate_model import Rate as Rate
from dryrecords.settlement.schedule_model import Schedule as Schedule
from dryrecords.settlement.statement_model import Statement as Statement
