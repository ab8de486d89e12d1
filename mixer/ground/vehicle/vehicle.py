"""The vehicle: everything Fourvane knows about one rocket's steering, read from a TOML file."""

import os
from functools import cached_property
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike
from pydantic import Field, PrivateAttr, ValidationError, ValidationInfo, field_validator

from mixer.ground.drawn_vane.file_checks import refuse_impossible
from mixer.ground.drawn_vane.geometry import jet_for
from mixer.ground.drawn_vane.vane_forces import VaneCurve, computed_curve
from mixer.ground.inputs.arrays import VANES, Array, fixed
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.inputs.quantities import refuse
from mixer.ground.inputs.run_files import reads
from mixer.ground.inputs.section import Section
from mixer.ground.inputs.section_errors import Problem, VehicleError, problems_of
from mixer.ground.unfinished.to_be_measured import how_to_get
from mixer.ground.vehicle.acceptance import Acceptance
from mixer.ground.vehicle.curves import Servo
from mixer.ground.vehicle.engine import EngineSection
from mixer.ground.vehicle.requirements import Requirements
from mixer.ground.vehicle.rocket import RocketSection
from mixer.ground.vehicle.steering_tables import (
    LONGEST_PULSE_US,
    SHORTEST_PULSE_US,
    ControlSection,
    Erosion,
    Layout,
    Naming,
    Servos,
    Vanes,
    covers,
)
from mixer.ground.vehicle.toml_data import toml_data
from mixer.ground.vehicle.uncertainty import Uncertainty

if TYPE_CHECKING:
    pass

__all__ = ["Problem", "Vehicle", "VehicleError", "load_vehicle", "parse_vehicle"]

LARGEST_FILE_BYTES = 1_000_000
# Between the points of a drawn vane's curve. Straight lines then leave what is computed by under
# 0.05 % of the largest force and 0.3 % of the largest drag; finer ones make flight tables long.
CURVE_STEP_DEG = 2.5


class Vehicle(Section):
    """A vehicle file that has been found right, one attribute per table.

    A new table is one more line here: `name: Model | None = None`, the model a `Section`.
    Tables are checked in this order, and a table's checks may look at those above it.
    """

    vehicle: Naming
    engine: EngineSection
    layout: Layout
    vanes: Vanes
    erosion: Erosion | None = None
    servo_table: Servos = Field(alias="servos")
    control: ControlSection
    requirements: Requirements | None = None
    acceptance: Acceptance | None = None
    uncertainty: Uncertainty | None = None
    rocket: RocketSection | None = None

    _text: str = PrivateAttr("")
    _path: Path = PrivateAttr(Path())
    _sha256: str = PrivateAttr("")

    @field_validator("vanes")
    @classmethod
    def forces_of_a_drawing(cls, vanes: Vanes, info: ValidationInfo) -> Vanes:
        """Drawn vanes get the lists that measured ones have, computed for each one's travel."""
        engine, layout = info.data.get("engine"), info.data.get("layout")
        if vanes.geometry is None or engine is None or layout is None:
            return vanes
        found: dict[tuple[float, ...], VaneCurve] = {}
        travels = [tuple(travel_deg) for travel_deg in vanes.travel_deg.tolist()]
        try:
            jet = jet_for(vanes.geometry, engine)
            for travel_deg in dict.fromkeys(travels):  # equal ones once
                refuse_impossible(vanes.geometry, jet, travel_deg, layout.least_gap_deg)
                found[travel_deg] = computed_curve(
                    vanes.geometry, engine, travel_deg, step_deg=CURVE_STEP_DEG
                )
        except InputError as error:
            refuse(None, str(error), ".geometry")
        except (ArithmeticError, ValueError) as error:
            words = f"forces cannot be computed from these numbers of drawing and engine ({error})"
            refuse(None, words, ".geometry")
        curves = [found[travel_deg] for travel_deg in travels]
        lists = ("deflection_deg", "force_n", "drag_n")
        return vanes.model_copy(
            update={key: [fixed(getattr(curve, key)) for curve in curves] for key in lists}
        )

    @field_validator("servo_table")
    @classmethod
    def pulses_over_travel(cls, servos: Servos, info: ValidationInfo) -> Servos:
        """Pulses stay within what servos take, all over the travel; nothing is extrapolated."""
        if servos.table is None and (servos.neutral_us is None or servos.us_per_deg is None):
            refuse(None, "needs neutral_us and us_per_deg, or table")
        if servos.table is not None and not servos.neutral_us is servos.us_per_deg is None:
            refuse(None, "has both a table and neutral_us or us_per_deg; one of the two")
        if servos.us_per_deg is not None and not servos.us_per_deg.all():
            refuse(0.0, "us_per_deg must not be 0: the servo would not move")
        vanes = info.data.get("vanes")
        if vanes is None:
            return servos
        for number, (servo, travel_deg) in enumerate(
            zip(servos.each(), vanes.travel_deg, strict=True), 1
        ):
            low, high = travel_deg
            if servo.table is not None and not covers(servo.table.deflection_deg, travel_deg):
                refuse(
                    servo.table.deflection_deg[[0, -1]].tolist(),
                    f"servo {number}: its table must reach over the travel {low:g} to {high:g} deg",
                )
            for deflection_deg, pulse_us in zip(
                travel_deg, servo.pulse_us(travel_deg), strict=True
            ):
                if not SHORTEST_PULSE_US <= pulse_us <= LONGEST_PULSE_US:
                    refuse(
                        float(pulse_us),
                        f"servo {number}, pulse in µs at {deflection_deg:g} deg: must be from "
                        f"{SHORTEST_PULSE_US:g} to {LONGEST_PULSE_US:g} all over the travel",
                    )
        return servos

    @property
    def text(self) -> str:
        """The vehicle file as it was read."""
        return self._text

    @property
    def sha256(self) -> str:
        """SHA-256 of the vehicle file's bytes."""
        return self._sha256

    @property
    def path(self) -> Path:
        """Where the vehicle file was read from."""
        return self._path

    @cached_property
    def servos(self) -> list[Servo]:
        """The four servos."""
        return self.servo_table.each()

    def needs_rocket(self) -> RocketSection:
        """[rocket]; VehicleError where the file has none."""
        if self.rocket is None:
            what = f"missing; a simulated flight needs it{how_to_get('rocket')}"
            raise VehicleError(str(self.path), [Problem("rocket", None, what)])
        return self.rocket

    def effectiveness(self, load_s: ArrayLike) -> Array:
        """Effectiveness of the four vanes at a burn load in s: shape (..., 4)."""
        if self.erosion is None:
            return np.ones((*np.shape(load_s), VANES))
        return self.erosion.at(load_s)

    def lever_arm_m_at(self, time_s: ArrayLike) -> Array:
        """Lever arm in m at burn times in s, of the same shape."""
        return self.layout.lever_arm_m.at(time_s)

    def force_n(self, vane_index: int, deflection_deg: ArrayLike) -> Array:
        """Normal force in N of one vane (0 to 3), new and at the reference pressure."""
        return self.vanes.curves[vane_index].force_at(deflection_deg)


def load_vehicle(path: str | os.PathLike[str]) -> Vehicle:
    """Read a vehicle file. VehicleError lists everything that is wrong with it."""
    file = Path(path)
    reads(file)
    try:
        with file.open("rb") as stream:
            content = stream.read(LARGEST_FILE_BYTES + 1)
    except OSError as error:
        raise VehicleError(
            str(file), [Problem("", None, f"cannot be read: {error.strerror}")]
        ) from error
    if len(content) > LARGEST_FILE_BYTES:
        raise VehicleError(str(file), [Problem("", None, "too large to be a vehicle file")])
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise VehicleError(
            str(file), [Problem("", None, f"line {line}: not UTF-8 text")]
        ) from error
    vehicle = parse_vehicle(text, str(file))
    vehicle._sha256 = sha256(content).hexdigest()  # with the mark that may stand before the text
    return vehicle


def parse_vehicle(text: str, name: str = "vehicle.toml") -> Vehicle:
    """A vehicle from the text of its file. Servo tables are looked for beside `name`."""
    data = toml_data(text, name)
    try:
        vehicle = Vehicle.model_validate(data, context={"folder": Path(name).parent})
    except ValidationError as error:
        raise VehicleError(name, problems_of(error, Vehicle)) from error
    vehicle._text, vehicle._path = text, Path(name)
    vehicle._sha256 = sha256(text.encode()).hexdigest()
    return vehicle
