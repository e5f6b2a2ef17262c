"""Lengths of arcs against published geodesic lines.

Source: C. F. F. Karney, "Test set for geodesics" (2010; title and year from memory): 100 of its lines on
WGS84, each lat1 lon1 azi1 lat2 lon2 azi2 s12 a12 m12 S12, from ../shared/standards where that folder stands.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from clearance.core.extract import Extract, ExtractInfo, Way
from clearance.network.build import build_network

LINES = Path(__file__).resolve().parents[3] / "shared" / "standards" / "GeodTest-100.dat"


@pytest.mark.skipif(not LINES.is_file(), reason="../shared/standards/GeodTest-100.dat is not here")
def test_arcs_are_as_long_as_the_published_geodesics() -> None:
    rows = [[float(word) for word in row.split()] for row in LINES.read_text("ascii").splitlines()]
    assert len(rows) == 100
    ends = [(row[0], row[1]) for row in rows] + [(row[3], row[4]) for row in rows]
    extract = Extract(
        info=ExtractInfo(source="published geodesics"),
        node_ids=np.arange(200, dtype=np.int64),
        lon=np.array([lon for _, lon in ends]),
        lat=np.array([lat for lat, _ in ends]),
        ways=tuple(Way(i, (i, 100 + i), {"highway": "residential"}) for i in range(100)),
    )
    network = build_network(extract, ())
    length = {
        network.ways[way].id: metres
        for way, metres in zip(network.arc_way.tolist(), network.arc_length.tolist(), strict=True)
    }
    for i, row in enumerate(rows):
        assert length[i] == pytest.approx(row[6], abs=1e-6), row
