"""The course of one fill: loading, vending, topping up."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from colsim.errors import ScenarioError
from colsim.model import Container, Scenario
from colsim.model.contradictions import container_contradictions
from colsim.model.spread import Spread
from colsim.physics.cross_section import CrossSection, container_body
from colsim.physics.mechanism import Mechanism
from colsim.physics.scene import Body
from colsim.physics.vending import Turn, VendingColumn
from colsim.sampling.draws import draw_container, draw_placement
from colsim.sampling.vend import Outcome, Vend

__all__ = ["Course"]


class Course:
    """One fill as it goes on: what was loaded, what was vended.

    Parameters
    ----------
    scenario : Scenario
        As drawn for the whole of the fill.
    spreads : mapping of str to mapping of str to Spread
        By product, the spreads of its fields.
    draw : (int, int)
        Seed, and number of the fill.
    column : VendingColumn
        Empty yet.
    section : CrossSection
        Its geometry.
    """

    def __init__(
        self,
        scenario: Scenario,
        spreads: Mapping[str, Mapping[str, Spread]],
        draw: tuple[int, int],
        column: VendingColumn,
        section: CrossSection,
    ) -> None:
        self._scenario, self._spreads, self._draw = scenario, spreads, draw
        self._column, self.section = column, section
        self._surfaces = {name: k for k, name in enumerate(scenario.loaded_products)}
        self.bodies: list[Body] = []
        self.vends: list[Vend] = []
        self.short = 0

    def run(self) -> None:
        """Load, vend, top up once if that is wanted, and vend until empty or failed.

        Raises
        ------
        LostContainerError, DivergedError
            If what is simulated cannot be believed.
        ScenarioError
            If what was drawn for a container does not go together.
        """
        loading = self._scenario.loading
        self._load(loading.total)
        if loading.top_up_at is not None:
            if not self._vend_down_to(loading.top_up_at):
                return
            self._load(loading.total - len(self._column.left))
        self._vend_down_to(0, topped_up=loading.top_up_at is not None)

    def _load(self, count: int) -> None:
        """Lay in containers until that many are in or the next finds no room."""
        for k in range(count):
            item = len(self.bodies)
            name = self._scenario.product_of(item)
            container = self._drawn_container(name, item)
            placement = draw_placement(self._scenario.loading, *self._draw, item)
            body = container_body(container, item, self._surfaces[name], self._scenario.conditions)
            if not self._column.lay(body, placement.across, placement.angle):
                self._column.take_out(item)
                self.short += count - k
                break
            self.bodies.append(body)
        self._column.set_flats()

    def _drawn_container(self, name: str, item: int) -> Container:
        typical = self._scenario.products[name]
        container = draw_container(typical, *self._draw, item, spreads=self._spreads[name])
        if container is not typical:
            problems = tuple(container_contradictions(self._scenario, container, name))
            if problems:
                raise ScenarioError(problems)
        return container

    def _vend_down_to(self, level: int, *, topped_up: bool = False) -> bool:
        """Vend until at most so many are left; tell whether it came to that."""
        while (before := len(self._column.left)) > level:
            # The first vend of a fresh load takes the turns that bring a container as far as the outlet.
            turns = 1 if self.vends else self.section.turns_to_first
            number = len(self.vends) + 1
            vend = replace(self._vend(turns), number=number, before=before, topped_up=topped_up)
            self.vends.append(vend)
            if vend.outcome.ends_the_fill:
                return False
        return True

    def _vend(self, turns: int) -> Vend:
        """Turn as often as it takes, and once more if nothing came."""
        made: list[Turn] = []
        held: Mechanism | None = None
        dropped = 0
        for number in range(turns + 1):
            if number == turns:
                held = self._column.why_held()
            made.append(turn := self._column.turn())
            dropped += len(turn.dropped)
            if turn.blocked or (dropped and number >= turns - 1):
                break
        outcome, mechanism = self._judged(dropped, held, made)
        return Vend(
            number=0,
            outcome=outcome,
            mechanism=mechanism,
            remaining=len(self._column.left),
            before=0,
            duration=sum(turn.duration for turn in made),
            peak_force=max(turn.peak_force for turn in made),
            dent=max(turn.dent for turn in made),
        )

    def _judged(self, dropped: int, held: Mechanism | None, made: list[Turn]) -> tuple[Outcome, Mechanism | None]:
        if made[-1].blocked:
            return Outcome.STALL, self._column.why_blocked()
        if not dropped:
            return Outcome.BRIDGE, held
        if held is not None:
            return Outcome.LATE, held
        if dropped > 1:
            shared = any(turn.shared for turn in made)
            return Outcome.DOUBLE, Mechanism.SECOND_IN_POCKET if shared else Mechanism.UNKNOWN
        return Outcome.SINGLE, None
