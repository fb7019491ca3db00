"""What a test pass says."""

from __future__ import annotations

from workbench.words.language import Template

SENTENCES: dict[str, Template] = {}
