"""The script that makes large inputs, as a module, and a small network of its making."""

from __future__ import annotations

import importlib.util
import sys
from functools import cache
from pathlib import Path
from types import ModuleType

from clearance.network.network import Network

SCRIPT = Path(__file__).resolve().parent.parent / "scripts" / "make_network.py"


@cache
def script() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_network", SCRIPT)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_network"] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


@cache
def synthetic(seed: int = 1) -> Network:
    network: Network = script().synthetic(3000, seed)
    return network
