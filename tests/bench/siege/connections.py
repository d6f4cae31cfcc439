"""Attacks by the contents of a connection, or their absence."""

import contextlib
import time

import wire
from attack import Attack, attack


RESERVED_KEYS = [
    "grpclb_client_stats", "grpc-timeout", "te", "grpc-encoding", "grpc-accept-encoding", "grpc-previous-rpc-attempts",
    "grpc-retry-pushback-ms", "grpc-tags-bin", "grpc-trace-bin", "grpc-server-stats-bin", "lb-token", "lb-cost-bin",
    "x-endpoint-load-metrics-bin", "grpc-internal-encoding-request", "grpc-internal-stream-encoding-request",
    "grpc-status", "grpc-message", "host", "user-agent", "content-type", "accept-encoding", "content-encoding",
    "authorization", ":authority"]
KEY_VALUES = ["x", "", "AAECAwT/", "\x00\x01\x7f", "y" * 4000, "y" * 7001]


class Headers(Attack):
    """Each key that gRPC itself reserves, with and without a token: once, twice, empty, binary and large."""

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


@attack("headers_tls", "metadata keys that gRPC itself knows, with and without token, TLS", seconds=25)
class HeadersTls(Headers):
    pass


@attack("headers_plain", "metadata keys that gRPC itself knows, no TLS", tls=False, seconds=25)
class HeadersPlain(Headers):
    pass


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
