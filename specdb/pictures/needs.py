"""What a picture needs of a question, told without drawing it."""

from __future__ import annotations

from specdb.duty.circumstances import Circumstances
from specdb.errors import QuestionError


def lacks_for_pressure_drop(at: Circumstances) -> list[QuestionError]:
    """A fault for each thing that a pressure drop over temperature needs and the duty leaves unstated."""
    faults: list[QuestionError] = []
    if at.flow_l_min is None:
        faults.append(
            QuestionError(
                "A pressure drop over temperature is drawn at the flow through the filter, which is not stated.",
                field="duty.flow",
                remedy='State flow, such as "75 L/min", or pump_flow.',
            )
        )
    if at.fluid_line is None:
        faults.append(
            QuestionError(
                "A pressure drop over temperature needs the fluid's viscosity over temperature, which is not stated.",
                field="duty.fluid.viscosity_index" if at.viscosity_mm2_s is not None else "duty.fluid.grade",
                remedy="State fluid.grade with fluid.viscosity_index, or the viscosity at two temperatures as "
                "fluid.points.",
            )
        )
    return faults
