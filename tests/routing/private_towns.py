"""Random grid towns with private streets, gates, and streets that are private at night only."""

from __future__ import annotations

from dataclasses import dataclass

from hypothesis import strategies as st

from clearance.core.extract import Way
from clearance.core.structure import Structure
from clearance.network.build import build_network
from clearance.network.network import Network
from tests.routing.grid_towns import GridTown, grid_towns

NIGHT = "private @ (22:00-06:00)"
ACCESS = ("yes", "yes", "yes", "private", "destination", NIGHT, "no")
BARRIERS = ("", "", "", "private", "no")


@dataclass(frozen=True)
class PrivateTown:
    """A grid town with an access for each street, and gates at some corners and in the middle of streets."""

    grid: GridTown
    access: tuple[str, ...]
    gates: tuple[str, ...]

    def network(self) -> Network:
        town = self.grid.town()
        for n, (way, access) in enumerate(zip(list(town._ways), self.access, strict=False)):
            tags = {"motor_vehicle:conditional": access} if access == NIGHT else {"access": access}
            # No two streets alike: of two ways round a block one is then the quicker.
            speed = {"maxspeed": str(int(way.tags["maxspeed"]) + n)}
            town._ways[town._ways.index(way)] = Way(
                way.id, way.nodes, {**way.tags, **speed, **({} if access == "yes" else tags)}
            )
        for corner, gate in enumerate(self.gates):
            if gate:
                town._node_tags[corner + 1] = {"barrier": "gate", "access": gate}
        return build_network(town.extract(), self.structures())

    def structures(self) -> tuple[Structure, ...]:
        return self.grid.structures()


@st.composite
def private_towns(draw: st.DrawFn) -> PrivateTown:
    grid = draw(grid_towns())
    access = tuple(draw(st.sampled_from(ACCESS)) for _ in grid.streets)
    gates = tuple(draw(st.sampled_from(BARRIERS)) for _ in range(grid.width * grid.height))
    return PrivateTown(grid, access, gates)
