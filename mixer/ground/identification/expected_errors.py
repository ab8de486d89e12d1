"""What a deflection programme would tell, before anything burns: the errors that a fit would claim.

The slopes of the model along a burn without noise, weighed by the noise that the load cells are
expected to have.
"""

from dataclasses import dataclass

import numpy as np

from mixer.ground.identification.coloured_noise import Noise
from mixer.ground.identification.drifting_noise import DriftingNoise
from mixer.ground.identification.findings import findings
from mixer.ground.identification.fit import Identification, covariance_at
from mixer.ground.identification.model import WEAR_POINTS, StandModel, Unknowns
from mixer.ground.static_test.blocks import Blocks
from mixer.ground.static_test.log import LOAD_COLUMNS
from mixer.ground.static_test.programme import Programme
from mixer.ground.static_test.simulation import StandNoise, simulate_test, truth_of
from mixer.ground.vehicle.vehicle import Vehicle


@dataclass(frozen=True)
class StandCells:
    """Load cells to be used: noise of a row, and drift over the burn, as a share of the largest
    load; rows a second.
    """

    noise_share: float = 0.01
    rate_hz: float = 200.0


@dataclass(frozen=True)
class Expected:
    """Largest load and assumed noise of each channel, and the standard error of each quantity (with
    its unit), the worst of the vanes.
    """

    largest: dict[str, float]
    noise: dict[str, float]
    rows: dict[tuple[str, str], float]


def expect(vehicle: Vehicle, programme: Programme, cells: StandCells) -> Expected:
    """Standard errors that a test with this programme and these load cells would claim."""
    silent = StandNoise(np.zeros(len(LOAD_COLUMNS)))
    log = simulate_test(
        vehicle, truth_of(vehicle), programme, silent, np.random.default_rng(0), cells.rate_hz
    )
    blocks = Blocks(log, vehicle)
    unknowns = Unknowns(vehicle, blocks.full_load_s, WEAR_POINTS, bend=False, ambient=False)
    x = unknowns.guess()
    model = StandModel(blocks, unknowns, x)
    largest = np.abs(log.loads[log.burning]).max(axis=0)
    noise = cells.noise_share * np.maximum(largest, 1e-9)
    rows_per_block = max(blocks.block_s * cells.rate_hz, 1.0)
    noises = [
        DriftingNoise(Noise(np.zeros(0), each / rows_per_block**0.5), each**2 / log.burn_s)
        for each in noise
    ]
    channels = [
        n.reduce(blocks.time_s, blocks.segments, columns, reading)
        for n, columns, reading in zip(noises, model.columns, blocks.loads.T, strict=True)
    ]
    covariance = covariance_at(unknowns, model, channels, x)
    test = Identification(
        vehicle, blocks, unknowns, x, covariance, noises, blocks.loads, 0 * blocks.loads, 1
    )
    rows: dict[tuple[str, str], float] = {}
    for finding in findings(test):
        key = (finding.quantity, finding.unit)
        rows[key] = max(rows.get(key, 0.0), finding.error)
    return Expected(
        dict(zip(LOAD_COLUMNS, largest.tolist(), strict=True)),
        dict(zip(LOAD_COLUMNS, noise.tolist(), strict=True)),
        rows,
    )
