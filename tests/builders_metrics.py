"""Metrics read back by the parser of Prometheus' own library for Python."""

from __future__ import annotations

from prometheus_client import Metric
from prometheus_client.parser import text_string_to_metric_families


def metrics_in(text: str) -> dict[str, Metric]:
    """The metrics of an answer by their names."""
    found = list(text_string_to_metric_families(text))
    assert len({metric.name for metric in found}) == len(found)
    return {metric.name: metric for metric in found}


def value_of(metrics: dict[str, Metric], name: str, **labels: str) -> float:
    """One value, 0 where nothing was counted yet."""
    values = [s.value for m in metrics.values() for s in m.samples if s.name == name and s.labels == labels]
    assert len(values) < 2
    return values[0] if values else 0
