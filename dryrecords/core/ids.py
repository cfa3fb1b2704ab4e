"""Identities: UUID version 7 (RFC 9562, section 5.7), so that ids made anywhere sort by the time they were made."""

from __future__ import annotations

import os
import time
from uuid import UUID


def new_id() -> UUID:
    milliseconds = time.time_ns() // 1_000_000
    random = int.from_bytes(os.urandom(10), "big")
    value = (milliseconds & (2**48 - 1)) << 80 | random
    value = value & ~(0xF << 76) | 0x7 << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    return UUID(int=value)
