"""A piece of a Vega-Lite description: JSON as Python builds it."""

from typing import Any

Spec = dict[str, Any]
