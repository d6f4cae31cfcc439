"""Attacks on the memory of the server."""

import time

import member
import wire
from attack import Attack, attack


@attack("unknown_fields", "60 studies of 4 MB of unknown fields, and a list of them", seconds=30)
class UnknownFields(Attack):
    def run(self, until):
        size = 3_900_000
        for _ in range(60):
            if time.monotonic() > until:
                break
            if self.create(self.padded(size)) is None and size > 1_000_000:
                size = 900_000  # just below the smaller message limit
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
        refused = self.code_words() or "none refused"
        return f"{stream_count} streams, {sum(sent.values()) / 1e6:.0f} MB sent; {refused}"

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
                except wire.h2.exceptions.ProtocolError:  # the stream has ended
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
