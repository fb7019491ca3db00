"""What a person should know of stores whose format was brought up; light, as every surface asks."""

from __future__ import annotations

from collections import deque

from workbench.base.errors import Message

brought_up: deque[Message] = deque()
"""Not told yet; whoever can say it takes it."""
