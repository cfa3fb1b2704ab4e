"""Tables of settlement."""

from dryrecords.settlement.rate_model import Rate as Rate
from dryrecords.settlement.statement_model import Statement as Statement
