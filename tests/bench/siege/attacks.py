"""The attacks. Each is bounded in count and in time, and says in a few words what became of it.

An attack is a class: the constructor prepares it, before the quiet measurement, and `run(until)` carries it out, which
ends soon after the time `until` (of time.monotonic()). `attacker` is the endpoint of a member who means no good, and
`stranger` that of someone without a token.
"""

import collections
import concurrent.futures
import contextlib
import os
import time

import member
import wire

ATTACKS = {}


def attack(name, what, **settings):
    """Registers a class under a name. Settings: tls, options and open_files of the server; seconds of the attack;
    attacker_runs, where the attacker has work on the device by right, so that the quiet figures need a neighbour too."""

    def register(cls):
        cls.name, cls.what = name, what
        cls.settings = {"tls": True, "options": (), "open_files": None, "seconds": 15, "attacker_runs": False, **settings}
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
        self.box_service, self.run_service, self.study_service = box_service_pb2, run_service_pb2, study_service_pb2
        self.study = study_pb2
        channel = attacker.channel()
        self.boxes = box_service_pb2_grpc.BoxServiceStub(channel)
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
        """Its answer; None, and a count of the code, where it fails."""
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


# ---- headers

RESERVED_KEYS = [
    "grpclb_client_stats", "grpc-timeout", "te", "grpc-encoding", "grpc-accept-encoding", "grpc-previous-rpc-attempts",
    "grpc-retry-pushback-ms", "grpc-tags-bin", "grpc-trace-bin", "grpc-server-stats-bin", "lb-token", "lb-cost-bin",
    "x-endpoint-load-metrics-bin", "grpc-internal-encoding-request", "grpc-internal-stream-encoding-request",
    "grpc-status", "grpc-message", "host", "user-agent", "content-type", "accept-encoding", "content-encoding",
    "authorization", ":authority"]
KEY_VALUES = ["x", "", "AAECAwT/", "\x00\x01\x7f", "y" * 4000, "y" * 7001]


class Headers(Attack):
    """Each key that gRPC itself knows, without a token and with one: once, twice, empty, binary and large."""

    def run(self, until):
        sent = 0
        for key in RESERVED_KEYS:
            for value in KEY_VALUES:
                if time.monotonic() > until:
                    break
                try:
                    with wire.Connection(self.stranger if len(value) % 2 else self.attacker) as connection:
                        for count in (1, 2):
                            stream = connection.open(wire.GET_BOX, [(key, value)] * count)
                            connection.state.send_data(stream, wire.message(b""), end_stream=True)
                            sent += 1
                        connection.flush()
                        connection.pump(0.05)
                        self.codes.update(connection.codes)
                except ConnectionRefusedError:
                    return f"the server is gone after {sent} calls; last key {key}"
                except wire.ERRORS:
                    self.codes["closed"] += 1
        return f"{sent} calls; grpc-status {self.code_words()}"


attack("headers_tls", "metadata keys that gRPC itself knows, with and without token, TLS", seconds=25)(type("HeadersTls", (Headers,), {}))
attack("headers_plain", "metadata keys that gRPC itself knows, no TLS", tls=False, seconds=25)(type("HeadersPlain", (Headers,), {}))


@attack("endless_headers", "200 header blocks of 100 kB in CONTINUATION frames that never end")
class EndlessHeaders(Attack):
    def run(self, until):
        # RFC 7541, section 6.2.2: a literal field without indexing, key and value of 100 bytes.
        field = b"\0" + b"\x64" + b"k" * 100 + b"\x64" + b"v" * 100
        sockets, closed = [], 0
        for _ in range(200):
            if time.monotonic() > until:
                break
            try:
                connection = self.stranger.secured(self.stranger.socket())
                sockets.append(connection)
                connection.sendall(wire.PREFACE + wire.frame(4) + wire.frame(1, 0, 1, field))
                for _ in range(20):
                    connection.sendall(wire.frame(9, 0, 1, field * 25))
            except OSError:
                closed += 1
        for connection in sockets:
            connection.close()
        return f"{len(sockets)} connections, {closed} ended by the server"


# ---- connections


@attack("descriptors", "300 bare connections to a server with 256 descriptors, then closed", open_files=256)
class Descriptors(Attack):
    def run(self, until):
        sockets = []
        for _ in range(300):
            with contextlib.suppress(OSError):
                sockets.append(self.stranger.socket())
        time.sleep(3)
        for connection in sockets:
            connection.close()
        return f"{len(sockets)} connections taken by the system"


class Silent(Attack):
    count = 100

    def run(self, until):
        sockets = []
        for _ in range(self.count):
            with contextlib.suppress(OSError):
                sockets.append(self.connect())
        while time.monotonic() < until:
            time.sleep(0.2)
        closed = wire.count_closed(sockets)
        for connection in sockets:
            connection.close()
        return f"{closed} of {len(sockets)} closed by the server within {self.settings['seconds']} s"


@attack("silent_tcp", "100 strangers who connect and say nothing", seconds=20)
class SilentTcp(Silent):
    def connect(self):
        return self.stranger.socket()


@attack("silent_tls", "100 strangers who end the TLS handshake and say nothing", seconds=20)
class SilentTls(Silent):
    def connect(self):
        return self.stranger.secured(self.stranger.socket())


@attack("silent_preface", "100 strangers who send the preface of HTTP/2 and no call", seconds=20)
class SilentPreface(Silent):
    def connect(self):
        connection = self.stranger.secured(self.stranger.socket())
        connection.sendall(wire.PREFACE + wire.frame(4))
        return connection


# ---- small calls that are much work


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
            change = spec.schedule.steering.changes.add(step=10**11)
            change.change.temperature = 0.01
        return spec


# ---- many runs


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
        spec.dynamics.overdamped.converged.most_iterations = 100_000
        spec.friction.tangential = spec.friction.normal = 1e4
        spec.bed.packing_fraction = 0.85
        spec.start.triangular.SetInParent()
        self.cancel(self.neighbour)  # this run takes its share of the device
        created = self.create(spec)
        if created is None:
            return f"refused: {self.code_words()}"
        while time.monotonic() < until:
            time.sleep(0.2)
        request = self.run_service.GetRunRequest(name=created.name + "/runs/1")
        found = self.call(lambda: self.runs.GetRun(request, timeout=10))
        self.cancel(created.name)
        return f"at step {found.step}" if found else self.code_words()


# ---- memory


@attack("unknown_fields", "60 studies of 4 MB of unknown fields, and a list of them", seconds=30)
class UnknownFields(Attack):
    def run(self, until):
        size = 3_900_000
        for _ in range(60):
            if time.monotonic() > until:
                break
            if self.create(self.padded(size)) is None and size > 1_000_000:
                size = 900_000  # as much as a smaller limit on messages lets through
        request = self.study_service.ListStudiesRequest(page_size=100)
        found = self.call(lambda: self.studies.ListStudies(request, timeout=30))
        return f"{self.code_words()}; a list of {found.ByteSize() / 1e6:.2f} MB" if found else self.code_words()

    def padded(self, size):
        spec = member.small_study(self.study, 64, 0.001)
        length = bytearray()
        rest = size
        while rest > 127:
            length.append(rest & 127 | 128)
            rest >>= 7
        length.append(rest)
        spec.MergeFromString(b"\xc2\x3e" + bytes(length) + bytes(size))  # field 1000, of bytes
        return spec


@attack("half_bodies", "900 bodies of 2 MB on one connection, sent but for the last byte", seconds=30)
class HalfBodies(Attack):
    size = 2_000_000

    def run(self, until):
        sent, stream_count = {}, 0
        try:
            with wire.Connection(self.attacker) as connection:
                for _ in range(900):
                    stream = connection.open("/gyrebox.v1.StudyService/CheckStudy")
                    stream_count += 1
                    connection.state.send_data(stream, wire.message(b"", claimed=self.size))
                    connection.flush()
                    sent[stream] = 0
                self.fill(connection, sent, until)
                time.sleep(1)
        except wire.ERRORS as error:
            self.codes[type(error).__name__] += 1
        total = sum(sent.values())
        return f"{stream_count} streams, {total / 1e6:.0f} MB sent; {self.code_words() or "none refused"}"

    def fill(self, connection, sent, until):
        chunk = bytes(16384)
        idle_since = time.monotonic()
        while time.monotonic() < min(until, idle_since + 3) and not connection.ended:
            connection.pump(0)
            for stream in list(sent):
                try:
                    room = connection.state.local_flow_control_window(stream)
                    count = min(room, len(chunk), self.size - 1 - sent[stream])
                    if count > 0:
                        connection.state.send_data(stream, chunk[:count])
                        sent[stream] += count
                        idle_since = time.monotonic()
                except wire.h2.exceptions.ProtocolError:  # the stream was ended
                    self.codes["ended"] += 1
                    sent[stream] = self.size
            connection.flush()
            if all(count >= self.size - 1 for count in sent.values()):
                break


@attack("start_sequences", "30 streams that each name 100 000 start sequences", seconds=15)
class StartSequences(Attack):
    def run(self, until):
        request = self.run_service.WatchRunsRequest(parent="studies/1", with_samples=True)
        for run in range(1, 100_001):
            request.start_sequences[run] = 1
        streams = [self.runs.WatchRuns(request, timeout=30) for _ in range(30)]
        for stream in streams:
            self.call(lambda stream=stream: next(stream))
        while time.monotonic() < until:
            time.sleep(0.2)
        for stream in streams:
            stream.cancel()
        return f"{request.ByteSize()} bytes each: {self.code_words()}"


# ---- floods


class CallFlood(Attack):
    """Up to 100 unary calls in flight, at most 100 000."""

    def run(self, until):
        flooder = type(self.boxes)(self.flooding().channel())
        request = self.box_service.GetBoxRequest()
        waiting = set()
        for _ in range(100_000):
            if time.monotonic() > until:
                break
            if len(waiting) >= 100:
                done, waiting = concurrent.futures.wait(waiting, return_when=concurrent.futures.FIRST_COMPLETED)
            future = concurrent.futures.Future()
            call = flooder.GetBox.future(request, timeout=5)
            call.add_done_callback(lambda call, future=future: future.set_result(call))
            future.add_done_callback(lambda future: self.call(future.result().result))
            waiting.add(future)
        concurrent.futures.wait(waiting, timeout=10)
        return self.code_words()


@attack("call_flood", "calls of a member, 100 in flight")
class MemberFlood(CallFlood):
    def flooding(self):
        return self.attacker


@attack("stranger_flood", "calls without token, 100 in flight")
class StrangerFlood(CallFlood):
    def flooding(self):
        return self.stranger


@attack("connection_flood", "TLS connections opened and closed, at most 5000")
class ConnectionFlood(Attack):
    def run(self, until):
        for _ in range(5000):
            if time.monotonic() > until:
                break
            try:
                self.stranger.secured(self.stranger.socket()).close()
                self.codes["handshakes"] += 1
            except OSError:
                self.codes["failed"] += 1
        return self.code_words()


@attack("reset_flood", "streams opened and reset at once, at most 100 000")
class ResetFlood(Attack):
    def run(self, until):
        sent, connections = 0, 0
        while time.monotonic() < until and sent < 100_000 and connections < 100:
            connections += 1
            with contextlib.suppress(*wire.ERRORS), wire.Connection(self.attacker) as connection:
                while time.monotonic() < until and sent < 100_000 and not connection.ended:
                    for _ in range(50):
                        connection.state.reset_stream(connection.open(wire.GET_BOX), 8)
                        sent += 1
                    connection.flush()
                    connection.pump(0)
        return f"{sent} streams on {connections} connections"


@attack("frame_flood", "PING and SETTINGS frames, at most 200 000")
class FrameFlood(Attack):
    def run(self, until):
        sent, connections = 0, 0
        batch = wire.frame(6, payload=bytes(8)) * 50 + wire.frame(4) * 50
        while time.monotonic() < until and sent < 200_000 and connections < 100:
            connections += 1
            with contextlib.suppress(*wire.ERRORS), wire.Connection(self.stranger) as connection:
                while time.monotonic() < until and sent < 200_000 and not connection.ended:
                    connection.socket.sendall(batch)
                    sent += 100
                    while wire.select.select([connection.socket], [], [], 0)[0]:
                        if not connection.socket.recv(1 << 16):
                            connection.ended = True
                            break
        return f"{sent} frames on {connections} connections"


# ---- journal


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
        return f"{done} entries; one adjustment {early * 1000:.0f} ms before, {late * 1000:.0f} ms after; {self.code_words()}"

    def time_some(self):
        times = []
        for _ in range(10):
            begin = time.monotonic()
            self.adjust(self.run_name, 0.02)
            times.append(time.monotonic() - begin)
        return member.percentile(times, 0.5)


def work(name, attacker, stranger, pipe, over):
    """Body of the attacker's process: prepares, says so, waits for the word, attacks and reports."""
    os.nice(10)
    try:
        prepared = ATTACKS[name](attacker, stranger)
        pipe.send("ready")
        pipe.recv()
        outcome = prepared.run(time.monotonic() + prepared.settings["seconds"])
    except Exception as error:  # the parent reports it
        outcome = f"{type(error).__name__}: {str(error).splitlines()[0][:200]}"
    over.set()
    pipe.send(outcome)
