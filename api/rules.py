"""The rules of the tables, by the name under which the edge knows them."""

from __future__ import annotations

from dryrecords.tenancy.rules import Limits as Limits
from dryrecords.tenancy.rules import broken_rules as broken_rules
from dryrecords.tenancy.rules import limits_of as limits_of
from dryrecords.tenancy.rules import rules_of as rules_of
