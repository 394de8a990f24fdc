"""Whether the bridge can measure what the plan asks of it: said before anything is heated."""

from __future__ import annotations

from drivers.errors import OutsideLimits
from drivers.roles import BridgeCapabilities
from plans.run_plan import RunPlan
from plans.unroll import measuring_steps


def check_offers(run: RunPlan, bridge: BridgeCapabilities) -> None:
    """Raise OutsideLimits for a current, or a reversal of it, that the bridge does not offer."""
    for step in measuring_steps(run):
        for current_ma in (step.current_ma, step.self_heating_ma):
            if current_ma is not None and current_ma not in bridge.currents_ma:
                offered = ", ".join(f"{offer:g}" for offer in bridge.currents_ma)
                raise OutsideLimits(
                    f"{run.names.plan}: the bridge does not offer {current_ma:g} mA; its currents are "
                    f"{offered} mA"
                )
        if step.sequence.reverse_current and not bridge.reversal:
            raise OutsideLimits(
                f"{run.names.plan}: reverse_current = true, but the bridge's profile offers no reversal; "
                "take it out"
            )
