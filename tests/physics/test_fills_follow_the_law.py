"""What a whole fill shows of forces and overlaps is what the law of contact says."""

import numpy as np
import pytest
import tests_shared
from tests_shared import small_scenario

from colsim import replay

BOARDS = 70.0  # [N/mm]


@pytest.fixture(scope="module")
def stalled(engine_name):
    scenario = small_scenario(3, **{"container.diameter": 58, "container.stiffness": BOARDS})
    return replay(scenario, seed=3, engine=tests_shared.engine_name)


def test_at_a_stall_each_overlap_is_force_over_stiffness(stalled):
    # Each contact is a spring of twice what shows between two boards; two containers give way in series.
    contacts = stalled.contacts
    assert stalled.fill.failure.outcome == "stall"
    normal = np.einsum("ij,ij->i", contacts.force, contacts.normal) / 1000.0
    stiffness = np.where(contacts.other >= 0, BOARDS, 2 * BOARDS)
    pressed = normal > 20.0
    assert pressed.sum() >= 2
    assert contacts.overlap[pressed] == pytest.approx(normal[pressed] / stiffness[pressed], rel=0.01)


def test_the_nip_presses_no_harder_than_the_motor_can(stalled):
    # 20 N m on the drum of 95 mm is 211 N at its rim, and the lever of a contact is shorter by a third at most.
    torque = stalled.scenario.rotor.torque_limit
    strongest = np.hypot(*stalled.contacts.force.T).max() / 1000.0
    assert 0.5 * torque / 0.095 < strongest < 2.0 * torque / 0.095


def test_dents_of_vends_stay_far_below_a_fifth_of_the_diameter(stalled):
    assert all(0.0 < vend.dent < 0.2 * 58 for vend in stalled.fill.vends)
