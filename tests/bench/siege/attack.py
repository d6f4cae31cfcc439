"""The attacks. Each is bounded in count and in time, and summarises its outcome in a few words.

An attack is a class: the constructor prepares it before the quiet measurement, and `run(until)` carries it out and ends
soon after the time `until` (of time.monotonic()). `attacker` is the endpoint of a malicious member, and `stranger` that
of someone without a token.
"""

import collections
import os
import time

import member

ATTACKS = {}


def attack(name, what, **settings):
    """Registers a class under a name.

    Settings: tls, options and open_files of the server; seconds of the attack; attacker_runs, where the attacker has
    legitimate work on the device, so that the quiet measurement needs such work too.
    """
    defaults = {"tls": True, "options": (), "open_files": None, "seconds": 15, "attacker_runs": False}

    def register(cls):
        cls.name, cls.what = name, what
        cls.settings = {**defaults, **settings}
        ATTACKS[name] = cls
        return cls

    return register


class Attack:
    def __init__(self, attacker, stranger):
        attacker.import_stubs()
        import grpc
        from gyrebox.v1 import box_service_pb2, box_service_pb2_grpc, run_service_pb2, run_service_pb2_grpc
        from gyrebox.v1 import study_pb2, study_service_pb2, study_service_pb2_grpc

        self.attacker, self.stranger, self.grpc = attacker, stranger, grpc
        self.machine_service, self.run_service, self.study_service = box_service_pb2, run_service_pb2, study_service_pb2
        self.study = study_pb2
        channel = attacker.channel()
        self.machines = box_service_pb2_grpc.MachineServiceStub(channel)
        self.runs = run_service_pb2_grpc.RunServiceStub(channel)
        self.studies = study_service_pb2_grpc.StudyServiceStub(channel)
        self.codes = collections.Counter()
        self.calls = 0
        self.neighbour = None
        if self.settings["attacker_runs"]:
            self.neighbour = self.create(member.small_study(study_pb2, member.BEADS, 1e6)).name
        self.prepare()

    def prepare(self):
        pass

    def create(self, spec, timeout=60):
        request = self.study_service.CreateStudyRequest(spec=spec)
        return self.call(lambda: self.studies.CreateStudy(request, timeout=timeout))

    def cancel(self, name):
        request = self.study_service.CancelStudyRequest(name=name)
        return self.call(lambda: self.studies.CancelStudy(request, timeout=20))

    def call(self, function):
        """The response; on failure None, and the status code is counted."""
        try:
            answer = function()
            self.codes["OK"] += 1
            return answer
        except self.grpc.RpcError as error:
            self.codes[error.code().name] += 1
            return None

    def adjust(self, name, value, timeout=60):
        self.calls += 1
        request = self.run_service.AdjustRunsRequest(name=name)
        request.changes.add(field="thermal.temperature", value=value)
        if "request_id" in request.DESCRIPTOR.fields_by_name:
            request.request_id = f"attack-{self.calls}"
        return self.call(lambda: self.runs.AdjustRuns(request, timeout=timeout))

    def code_words(self):
        return ", ".join(f"{count} {code}" for code, count in self.codes.most_common())


def work(cls, attacker, stranger, pipe, over):
    """Body of the attacker's process: prepares, reports ready, waits for the signal, attacks and reports."""
    os.nice(10)
    try:
        prepared = cls(attacker, stranger)
        pipe.send("ready")
        pipe.recv()
        outcome = prepared.run(time.monotonic() + prepared.settings["seconds"])
    except Exception as error:  # the parent reports it
        outcome = f"{type(error).__name__}: {str(error).splitlines()[0][:200]}"
    over.set()
    pipe.send(outcome)
