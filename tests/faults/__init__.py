"""Real processes and real engines, and what goes wrong with them."""

import pytest

pytest.register_assert_rewrite("tests.faults.season")
