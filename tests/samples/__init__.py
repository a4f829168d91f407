"""The sample sites, all invented: what each holds, and how its files are written."""

from __future__ import annotations

from collections.abc import Mapping

from tests.samples import kestrel_quay, whimbrel_hall
from tests.samples.writing import Sample

SAMPLES: Mapping[str, Sample] = {sample.name: sample for sample in (kestrel_quay.SAMPLE, whimbrel_hall.SAMPLE)}
