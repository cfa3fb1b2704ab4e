"""Tables of settlement, each in a module of its own."""

from dryrecords.settlement.audit_model import Audit as Audit
from dryrecords.settlement.audit_model import Finding as Finding
