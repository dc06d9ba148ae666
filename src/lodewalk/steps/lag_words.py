"""What is told of a lag: how large it is, whether it matters, and what to decide."""

from dataclasses import dataclass

from lodewalk.methods.corrections.lag import Lag
from lodewalk.methods.corrections.lag_judgement import LagJudgement
from lodewalk.steps.findings import FindingList
from lodewalk.steps.proposed import Proposal
from lodewalk.steps.sensor import Arm

OWN, TRACK = "its own fixes", "a track"


@dataclass(frozen=True)
class RoverLag:
    """What is known of the lag of one rover.

    Parameters
    ----------
    name : str
        The instrument.
    by_track : bool
        Whether its positions come from a track with a clock of its own.
    corrected : bool
        Whether the diurnal was taken off the field.
    arm : Arm
        The arm as measured.
    found : Lag
        What the survey tells.
    judged : LagJudgement or None
        What that amounts to; None where nothing is told.
    decided_s : tuple of float
        Lags decided for its readings [s].
    clock_s : tuple of float
        Offsets decided for its clock [s]; 0 for nothing.
    clock_open : bool
        Whether a slip of its clock waits for a decision.
    span_s : tuple of float
        First and last reading by the clock as recorded, Unix seconds.
    """

    name: str
    by_track: bool
    corrected: bool
    arm: Arm
    found: Lag
    judged: LagJudgement | None
    decided_s: tuple[float, ...]
    clock_s: tuple[float, ...]
    clock_open: bool
    span_s: tuple[float, float]

    @property
    def positions_by(self) -> str:
        """What gives the positions."""
        return TRACK if self.by_track else OWN

    @property
    def doubtful(self) -> bool:
        """Whether something is left that a person should decide."""
        judged = self.judged
        return bool(judged and judged.certain and judged.matters) and not self.waits

    @property
    def waits(self) -> bool:
        """Whether the clock has to be decided first, which the same shift belongs to."""
        return self.by_track and self.clock_open

    @property
    def proposal(self) -> Proposal | None:
        """The decision that would put it right, none where there is nothing to decide."""
        if self.judged is None or not self.doubtful:
            return None
        if not self.by_track:
            lag, sd = round(self.judged.lag_s, 2), round(max(self.judged.sd_s, 0.01), 2)
            return Proposal("lag", self.name, lag_s=lag, sd_s=sd)
        if len(self.clock_s) > 1:
            return None
        offset = round(self.clock_s[0] + self.judged.left_s, 2)
        return Proposal("clock", self.name, offset_s=offset)


def tell_lag(found: FindingList, rover: RoverLag) -> None:
    """Tell the lag of one rover, with the decision that it calls for.

    Parameters
    ----------
    found : FindingList
        Where it is told.
    rover : RoverLag
        What is known.
    """
    judged = rover.judged
    text = (
        _unknown(rover) if judged is None else f"{_size(rover, judged)}. {_advice(rover, judged)}"
    )
    found.add(
        "lag",
        f"{rover.name}: {text}",
        severity="doubt" if rover.doubtful else "information",
        instrument=rover.name,
        start_s=rover.span_s[0],
        end_s=rover.span_s[1],
        proposes=rover.proposal,
    )


def _unknown(rover: RoverLag) -> str:
    """Say that nothing can be told, and what it would take."""
    decided = f" {_decided(rover)}." if rover.decided_s else ""
    return (
        "the lag of its field beside its positions is not identifiable; it takes lines walked to "
        f"and fro side by side, with anomalies that several of them share.{decided}"
    )


def _size(rover: RoverLag, judged: LagJudgement) -> str:
    """Say how large the lag is, and what of it is decided."""
    least, most = judged.interval_s
    speed, found = rover.found.speed_m_s, rover.found
    text = (
        f"the field comes {judged.lag_s:+.2f} s after the position by {rover.positions_by} "
        f"(90 %: {least:+.2f} to {most:+.2f} s) at {speed:.1f} m/s"
    )
    if rover.arm.ahead_m is not None:
        text += f", with the sensor {rover.arm.ahead_m:+g} m ahead as measured"
    elif found.state == "measured":
        text += (
            f"; speeds differ so that a sensor {found.ahead_m:+.1f} m ahead (sd "
            f"{found.ahead_sd_m:.1f} m) can be told from a lag of {found.lag_s:+.2f} s (sd "
            f"{found.lag_sd_s:.2f} s): measure it"
        )
    else:
        text += "; a lag can't be told from a sensor ahead or behind, which counts as a lag here"
    if rover.decided_s:
        text += f". {_decided(rover)}, {judged.left_s:+.2f} s are left"
    return text


def _decided(rover: RoverLag) -> str:
    """Say what was decided."""
    return f"Decided: {', '.join(f'{lag:+g} s' for lag in rover.decided_s)}"


def _advice(rover: RoverLag, judged: LagJudgement) -> str:
    """Say what it does, and what to decide or why nothing."""
    effect = (
        f"moves anomalies by {judged.displaced_m:.1f} m, to and fro from line to line, and changes "
        f"readings on their flanks by {judged.change_nT:.1f} nT"
    )
    if rover.waits:
        return (
            "This is a part of a slip of its clock: until a decision sets that clock, which a "
            "refusal doesn't do, nothing is proposed here."
        )
    if not judged.certain:
        return "What is left may be nothing." if rover.decided_s else "It may be nothing."
    if not judged.matters:
        return f"It {effect}: too little to matter."
    confirm = f" To confirm: {rover.proposal.command}." if rover.proposal else ""
    if not rover.by_track:
        return f"It {effect}.{confirm}"
    clocks = "The track has a clock of its own, so this counts as a difference of the clocks."
    if confirm:
        return f"It {effect}. {clocks}{confirm}"
    return f"It {effect}. {clocks} Add {judged.left_s:+.2f} s to each decision on its clock."
