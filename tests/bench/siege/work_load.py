"""Attacks by expensive calls: checks, studies of many runs, a long step, a long journal."""

import concurrent.futures
import time

import member
from attack import Attack, attack


class Checks(Attack):
    """Waves of four CheckStudy calls whose callers give up after 2 s."""

    def run(self, until):
        request = self.study_service.CheckStudyRequest(spec=self.spec())
        for _ in range(4):
            if time.monotonic() > until:
                break
            for call in [self.studies.CheckStudy.future(request, timeout=2) for _ in range(4)]:
                self.call(call.result)
        return f"{request.ByteSize()} bytes each: {self.code_words()}"


@attack("check_stages", "4 checks at a time of 100 000 points × 1000 stages, deadline 2 s")
class CheckStages(Checks):
    def spec(self):
        spec = member.small_study(self.study, 64, 1)
        spec.drive.sine.ClearField("amplitude")
        for field, last, count in (("drive.sine.amplitude", 50, 1000), ("thermal.temperature", 0.1, 100)):
            axis = spec.axes.add(field=field)
            axis.linear.first, axis.linear.last, axis.linear.count = 0, last, count
        spec.schedule.ClearField("duration")
        for _ in range(1000):
            stage = spec.schedule.stages.add(duration=1)
            stage.step.temperature = 0.01
        return spec


@attack("check_steering", "4 checks at a time of 100 000 steered changes, deadline 2 s")
class CheckSteering(Checks):
    def spec(self):
        spec = member.small_study(self.study, 64, 1)
        spec.schedule.ClearField("duration")
        for _ in range(1000):
            stage = spec.schedule.stages.add(duration=1)
            stage.step.temperature = 0.01
        for _ in range(100_000):
            change = spec.schedule.steering.adjustments.add(step=10**11)
            change.change.temperature = 0.01
        return spec


class ManyRuns(Attack):
    def large_study(self):
        """100 000 runs: 100 points × 1000 realizations of 16 beads."""
        spec = member.small_study(self.study, 16, 1.0, realizations=1000)
        spec.drive.sine.ClearField("amplitude")
        spec.axes.add(field="drive.sine.amplitude", values=range(1, 101))
        return spec


@attack("steer_many", "adjust, pause, resume and prioritize a study of 100 000 runs", seconds=40, attacker_runs=True)
class SteerMany(ManyRuns):
    def prepare(self):
        self.created = self.create(self.large_study())

    def run(self, until):
        if self.created is None:
            return f"the study was refused: {self.code_words()}"
        name, slowest = self.created.name, 0.0
        service = self.study_service
        steps = [
            lambda: self.adjust(name, 0.01),
            lambda: self.call(lambda: self.studies.PauseStudy(service.PauseStudyRequest(name=name), timeout=60)),
            lambda: self.call(lambda: self.studies.ResumeStudy(service.ResumeStudyRequest(name=name), timeout=60)),
            lambda: self.call(lambda: self.runs.PrioritizeRuns(
                self.run_service.PrioritizeRunsRequest(name=name, priority=1), timeout=60))]
        for _ in range(3):
            for step in steps:
                if time.monotonic() > until:
                    break
                begin = time.monotonic()
                step()
                slowest = max(slowest, time.monotonic() - begin)
        return f"{self.code_words()}; slowest {slowest:.1f} s"


@attack("create_many", "creates of 100 000 runs in a loop, at most 5", seconds=40, attacker_runs=True)
class CreateMany(ManyRuns):
    def run(self, until):
        spec, slowest = self.large_study(), 0.0
        for _ in range(5):
            if time.monotonic() > until:
                break
            begin = time.monotonic()
            self.create(spec)
            slowest = max(slowest, time.monotonic() - begin)
        return f"{self.code_words()}; slowest {slowest:.1f} s"


@attack("long_step", "a run of 200 000 beads whose first step takes long", seconds=30, attacker_runs=True)
class LongStep(Attack):
    def run(self, until):
        spec = member.small_study(self.study, 200_000, 1.0)
        spec.dynamics.overdamped.converged.tolerance = 1e-7
        spec.dynamics.overdamped.converged.max_iterations = 100_000
        spec.friction.tangential = spec.friction.normal = 1e4
        spec.bed.packing_fraction = 0.85
        spec.start.triangular.SetInParent()
        self.cancel(self.neighbour)  # this run takes part of the device
        created = self.create(spec)
        if created is None:
            return f"refused: {self.code_words()}"
        while time.monotonic() < until:
            time.sleep(0.2)
        request = self.run_service.GetRunRequest(name=created.name + "/runs/1")
        found = self.call(lambda: self.runs.GetRun(request, timeout=10))
        self.cancel(created.name)
        return f"at step {found.step}" if found else self.code_words()


@attack("journal", "10 000 adjustments of one run", seconds=42, attacker_runs=True,
        options=("--requests-per-second", "100000"))
class Journal(Attack):
    def prepare(self):
        self.run_name = self.create(member.small_study(self.study, 64, 1e6)).name + "/runs/1"

    def run(self, until):
        early = self.time_some()
        with concurrent.futures.ThreadPoolExecutor(32) as pool:
            def one(_):
                return time.monotonic() < until and self.adjust(self.run_name, 0.01) is not None

            done = sum(pool.map(one, range(10_000)))
        late = self.time_some()
        each = f"one adjustment {early * 1000:.0f} ms before, {late * 1000:.0f} ms after"
        return f"{done} entries; {each}; {self.code_words()}"

    def time_some(self):
        times = []
        for _ in range(10):
            begin = time.monotonic()
            self.adjust(self.run_name, 0.02)
            times.append(time.monotonic() - begin)
        return member.percentile(times, 0.5)
