"""The same network for each of the engines that `routing.way` chooses from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from clearance.network.landmarks import landmark_times
from clearance.network.network import Network

#: By the engine's name, the landmarks that make it the one that runs.
ENGINES = {"plain": 0, "one landmark": 1, "landmarks": 5}


def for_engine(network: Network, engine: str) -> Network:
    """The network with as many landmarks as make `engine` run, however small it is."""
    if not ENGINES[engine]:
        return replace(network, landmark_ms=np.zeros((network.node_osm.size, 0), np.int32))
    return with_landmarks(network, ENGINES[engine])


def with_landmarks(network: Network, landmarks: int) -> Network:
    """The network with landmarks, however small it is."""
    times = landmark_times(
        network.arc_tail,
        network.arc_head,
        network.arc_seconds,
        network.node_osm.size,
        landmarks=landmarks,
        fewest=0,
    )
    assert times.shape[1] == 2 * landmarks
    times.flags.writeable = False
    return replace(network, landmark_ms=times)
