"""A member who keeps working during an attack: adjusts their own run, reads a table, and times both."""

import math
import time

ROUNDS = 50
ROUNDS_A_CONNECTION = 10
MAX_ROUNDS = 600
MAX_SECONDS = 40
PAUSE_SECONDS = 0.05
CALL_SECONDS = 10
MAX_FAILURES = 5  # one after another
BEADS = 1536


def percentile(values, fraction):
    """Percentile by nearest rank; None for an empty list."""
    ordered = sorted(values)
    return ordered[max(0, math.ceil(fraction * len(ordered)) - 1)] if ordered else None


def small_study(studies, beads, duration, realizations=1, amplitude=8.0):
    spec = studies.StudySpec()
    spec.bed.bead_count = beads
    spec.drive.sine.amplitude = amplitude
    spec.drive.sine.frequency = 1
    spec.schedule.duration = duration
    spec.trials.count = realizations
    return spec


class Member:
    def __init__(self, endpoint):
        endpoint.import_stubs()
        import grpc
        from gyrebox.v1 import run_service_pb2 as runs
        from gyrebox.v1 import run_service_pb2_grpc as runs_grpc
        from gyrebox.v1 import study_pb2 as studies
        from gyrebox.v1 import study_service_pb2 as study_service
        from gyrebox.v1 import study_service_pb2_grpc as study_grpc

        self.error, self.endpoint, self.channel = grpc.RpcError, endpoint, None
        self.runs, self.study_service = runs, study_service
        self.stubs = runs_grpc.RunServiceStub, study_grpc.StudyServiceStub
        self._connect()
        read = self._create(small_study(studies, 64, 0.5, realizations=20))
        self.read = read
        while self.study_stub.GetStudy(study_service.GetStudyRequest(name=read)).state != studies.Study.STATE_FINISHED:
            time.sleep(0.1)
        self.run = self._create(small_study(studies, BEADS, 1e6)) + "/runs/1"
        while self.run_stub.GetRun(runs.GetRunRequest(name=self.run)).step == 0:
            time.sleep(0.1)
        self.count = 0

    def measure(self, attack_over):
        """Measures at least 50 rounds, and until `attack_over()` is true, within bounds.

        Returns times in seconds and the rate in bead-steps/s (None where it could not be measured). A call that fails
        counts with the time until it failed.
        """
        result = {"adjust": [], "table": [], "failures": {}, "rounds": 0, "rate": None}
        first, in_a_row, begin = self._adjust(result), 0, time.monotonic()
        result["adjust"].clear()
        while time.monotonic() < begin + MAX_SECONDS and result["rounds"] < MAX_ROUNDS and in_a_row < MAX_FAILURES:
            if result["rounds"] >= ROUNDS and attack_over():
                break
            if result["rounds"] % ROUNDS_A_CONNECTION == ROUNDS_A_CONNECTION - 1:
                self._connect()
            answers = [self._adjust(result), self._tabulate(result)]
            in_a_row = in_a_row + 1 if None in answers else 0
            result["rounds"] += 1
            time.sleep(PAUSE_SECONDS)
        last = self._adjust({"adjust": [], "failures": {}})
        if first and last:
            result["rate"] = BEADS * (last[0] - first[0]) / (last[1] - first[1])
        return result

    def _connect(self):
        if self.channel:
            self.channel.close()
        self.channel = self.endpoint.channel()
        self.run_stub, self.study_stub = (stub(self.channel) for stub in self.stubs)

    def _create(self, spec):
        return self.study_stub.CreateStudy(self.study_service.CreateStudyRequest(spec=spec), timeout=CALL_SECONDS).name

    def _timed(self, result, name, call):
        begin = time.monotonic()
        try:
            return call()
        except self.error as error:
            code = f"{name}: {error.code().name}"
            result["failures"][code] = result["failures"].get(code, 0) + 1
            return None
        finally:
            result[name].append(time.monotonic() - begin)

    def _adjust(self, result):
        """The step from which the change holds, and when the response came."""
        self.count += 1
        request = self.runs.AdjustRunsRequest(name=self.run)
        request.changes.add(field="thermal.temperature", value=0.002 + 1e-6 * (self.count % 100))
        if "request_id" in request.DESCRIPTOR.fields_by_name:
            request.request_id = f"member-{self.count}"
        answer = self._timed(result, "adjust", lambda: self.run_stub.AdjustRuns(request, timeout=CALL_SECONDS))
        return (answer.adjustments[0].step, time.monotonic()) if answer else None

    def _tabulate(self, result):
        request = self.study_service.TabulateStudyRequest(name=self.read)
        return self._timed(result, "table", lambda: self.study_stub.TabulateStudy(request, timeout=CALL_SECONDS))


def work(endpoint, pipe, attack_over):
    """Body of the member's process: reports when it is ready, then measures on each command."""
    try:
        member = Member(endpoint)
        pipe.send("ready")
        while pipe.recv() == "measure":
            pipe.send(member.measure(attack_over.is_set))
    except Exception as error:  # the parent reports it
        pipe.send(f"{type(error).__name__}: {error}")
