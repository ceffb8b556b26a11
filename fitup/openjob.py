"""A job opened once: survey, checks, influence, plan and certificate, each computed on demand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Final

from fitup.checks import joint_state
from fitup.jobfolder import read_job
from fitup.jobfolder.inputs import require_unchanged
from fitup.model import CheckState, Influence, Job, Plan
from fitup.structure import influence_of, preset_for_release, with_thermal_response
from fitup.survey import Survey, read_survey

if TYPE_CHECKING:
    from fitup.certify import Certificate
    from fitup.record.approval import Standing
    from fitup.recovery import Rescuer
    from fitup.sheets import SheetSet
    from fitup.trust.trust_report import TrustReport

#: random draws that confirm the probabilities of the report
DRAWS: Final = 20_000


def _quiet(line: str) -> None:
    """Report nothing."""


def _never() -> bool:
    return False


@dataclass(frozen=True)
class Planned:
    """A plan, its certificate, and the influence that it was made with."""

    plan: Plan
    certificate: Certificate
    influence: Influence


@dataclass(frozen=True, eq=False)
class OpenJob:
    """A job that was opened; see :func:`open_job`.

    Parameters
    ----------
    folder : Path
        The job folder.
    job : Job
        Its tables, with the thermal movements of its frame.
    report : callable
        Called with one line for each step of the work.
    stop : callable
        Asked now and then; True ends a search with the best plan so far.
    explain : bool
        Look for the obstacles where a check cannot be brought inside its tolerance.
    """

    folder: Path
    job: Job
    report: Callable[[str], None] = _quiet
    stop: Callable[[], bool] = _never
    explain: bool = True

    @cached_property
    def survey(self) -> Survey:
        """Points and poses of all segments, checked for mistakes of the survey."""
        survey = read_survey(self.folder, self.job)
        require_unchanged(self.folder, self.job)
        return survey

    @cached_property
    def state(self) -> CheckState:
        """Every check as surveyed, with covariance and tolerance."""
        return preset_for_release(self.job, joint_state(self.job, self.survey))

    @cached_property
    def influence(self) -> Influence:
        """What a move at each seat does to checks and reactions, about the surveyed state."""
        return self.influence_of(self.job)

    @cached_property
    def planned(self) -> Planned:
        """The plan with its certificate; a plan that the certificate refuses is never returned."""
        plan, influence = self._made()
        self.report("certificate")
        return Planned(plan, self._certified(plan, influence), influence)

    @property
    def plan(self) -> Plan:
        """Moves, packs and order of work, with what is proven of them."""
        return self.planned.plan

    @property
    def certificate(self) -> Certificate:
        """The plan recomputed by a second path that shares no code with the optimiser."""
        return self.planned.certificate

    @cached_property
    def rescuer(self) -> Rescuer:
        """What finds and certifies ways out of the plan's stages, where work stopped in one."""
        from fitup.recovery import Rescuer

        planned = self.planned
        return Rescuer(
            self.job,
            self.survey,
            self.state,
            planned.influence,
            planned.plan,
            planned.certificate,
        )

    def require_sound(self) -> None:
        """Refuse what must not be planned with: survey, structure or influence table.

        Raises
        ------
        FitupError
            With everything that is wrong with the first of them that is not sound.
        """
        _ = self.state, self.influence

    def influence_of(self, job: Job) -> Influence:
        """Return the influence of a changed job about the same survey."""
        return influence_of(job, self.survey, self.folder)

    def changed(
        self, job: Job, *, survey: Survey | None = None, influence: Influence | None = None
    ) -> OpenJob:
        """Return the opened job with something changed, about the same surveyed state.

        Parameters
        ----------
        job : Job
            As changed.
        survey : Survey, optional
            The same poses with other remarks.
        influence : Influence, optional
            Where it is known already.
        """
        other = replace(self, job=job)
        vars(other).update(survey=survey or self.survey, state=self.state)
        if influence is not None:
            vars(other).update(influence=influence)
        return other

    def with_plan(self, plan: Plan) -> OpenJob:
        """Return the opened job with a plan made before, which is certified anew."""
        other = self.changed(self.job, influence=self.influence)
        self.report("certificate")
        certificate = other._certified(plan, self.influence)
        vars(other).update(planned=Planned(plan, certificate, self.influence))
        return other

    def trust(self, plan: Plan | None, draws: int = DRAWS) -> TrustReport:
        """Carry all uncertainties through a plan, linearly and by random draws.

        Parameters
        ----------
        plan : Plan, optional
            None for the joints as surveyed.
        draws : int
            At most.
        """
        from fitup.trust.trust_report import tell

        return tell(
            self.job,
            self.survey,
            self.state,
            self.influence,
            plan,
            self.influence_of,
            draws,
            self.report,
        )

    def sheets(self, stands: Standing | None = None) -> tuple[SheetSet, int]:
        """Return all sheets of the plan, and how many printed numbers the certificate confirmed.

        Parameters
        ----------
        stands : Standing, optional
            Where the plan stands in the record of the job; NOT APPROVED without.

        Raises
        ------
        CertificateRefused
            If a number to be printed is not the certificate's.
        """
        from fitup.certify import confirm
        from fitup.record.approval import OPEN
        from fitup.sheets import build_sheets

        sheets = build_sheets(
            self.job,
            self.survey,
            self.plan,
            self.certificate,
            stands=stands or OPEN,
            stated=self.trust(self.plan),
        )
        return sheets, confirm(self.certificate, sheets.printed())

    @cached_property
    def confirmed(self) -> tuple[SheetSet, int]:
        """All sheets of the plan, not yet approved, and how many numbers were confirmed."""
        return self.sheets()

    def write_sheets(self, folder: str | Path) -> tuple[Path, ...]:
        """Write all sheets into a folder and return their paths.

        The move sheets are withheld where a check stays outside its tolerance.
        """
        from fitup.sheets import write_sheets

        sheets, _ = self.confirmed
        return write_sheets(sheets, Path(folder), moves=self.plan.inside)

    def _made(self) -> tuple[Plan, Influence]:
        """Return a new plan and the influence it was made with."""
        job, state = self.job, self.state
        if job.objectives.risk is None:
            from fitup.plan import make_plan
            from fitup.problem.about import plan_about

            def make(about: Influence) -> Plan:
                return make_plan(job, state, about, self.report, self.stop, explain=self.explain)

            return plan_about(make, job, self.influence, self.report)
        from fitup.trust.robust import robust_plan

        risk, effect = job.objectives.risk, self.influence_of
        plan = robust_plan(
            job, self.survey, state, self.influence, risk, effect, self.report, self.stop
        )
        return plan, self.influence

    def _certified(self, plan: Plan, influence: Influence) -> Certificate:
        from fitup.certify import certify

        return certify(self.job, self.survey, self.state, influence, plan)


def open_job(
    folder: str | Path,
    *,
    report: Callable[[str], None] = _quiet,
    stop: Callable[[], bool] = _never,
    explain: bool = True,
) -> OpenJob:
    """Read a job folder; what follows from it is computed when it is asked for, once.

    Parameters
    ----------
    folder : str or Path
        The job folder: job.toml and its tables.
    report : callable, optional
        Called with one line for each step of the work, such as ``print``.
    stop : callable, optional
        Asked now and then; True ends a search with the best plan so far.
    explain : bool
        Look for the obstacles where a check cannot be brought inside its tolerance.

    Raises
    ------
    InputError
        With everything that is wrong with the tables, a line each.

    Examples
    --------
    >>> from pathlib import Path
    >>> example = Path(__file__).parents[1] / "examples" / "skerrin-closure"
    >>> opened = open_job(example)
    >>> len(opened.job.seats), len(opened.state.checks)
    (14, 66)
    """
    folder = Path(folder)
    return OpenJob(folder, with_thermal_response(read_job(folder)), report, stop, explain)
