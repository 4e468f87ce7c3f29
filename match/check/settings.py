"""What a check is told of the job."""

from dataclasses import dataclass

from match.check.verdict import Finish, Junction


@dataclass(frozen=True)
class CheckSettings:
    """What the user says of the job, and the Monte-Carlo's seed and number of draws."""

    finish: Finish = Finish.SOLID
    junction: Junction = Junction.PANEL_GAP
    seed: int = 20
    draws: int = 2500
