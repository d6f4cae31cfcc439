"""Hand-made HTTP/2: frames that a proper gRPC client would not send."""

import contextlib
import select
import socket
import time

import h2.config
import h2.connection
import h2.events
import h2.exceptions

PREFACE = b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n"  # RFC 9113, section 3.4
GET_BOX = "/gyrebox.v1.MachineService/GetMachine"


def frame(kind, flags=0, stream=0, payload=b""):
    """RFC 9113, section 4.1."""
    return len(payload).to_bytes(3, "big") + bytes([kind, flags]) + stream.to_bytes(4, "big") + payload


def message(body, claimed=None):
    """A gRPC message: its flag, its claimed length, and its bytes."""
    return b"\0" + (len(body) if claimed is None else claimed).to_bytes(4, "big") + body


class Connection:
    """One HTTP/2 connection that sends any header and respects flow control."""

    def __init__(self, endpoint):
        self.endpoint = endpoint
        self.socket = endpoint.secured(endpoint.socket())
        self.socket.settimeout(10)
        self.state = h2.connection.H2Connection(h2.config.H2Configuration(
            client_side=True, header_encoding="utf-8", validate_outbound_headers=False,
            normalize_outbound_headers=False))
        self.state.initiate_connection()
        self.codes = []  # grpc-status of each answer
        self.ended = False
        self.flush()
        self.pump(0.02)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.socket.close()

    def flush(self):
        data = self.state.data_to_send()
        if data:
            self.socket.sendall(data)

    def open(self, path, headers=(), end=False):
        """Opens a stream and returns its number."""
        stream = self.state.get_next_available_stream_id()
        scheme = "https" if self.endpoint.certificate else "http"
        own = [(":method", "POST"), (":scheme", scheme), (":path", path), (":authority", "localhost"),
               ("te", "trailers"), ("content-type", "application/grpc")]
        if self.endpoint.token:
            own.append(("authorization", "Bearer " + self.endpoint.token))
        self.state.send_headers(stream, own + list(headers), end_stream=end)
        return stream

    def pump(self, seconds):
        """Reads for a limited time and answers as HTTP/2 requires."""
        end = time.monotonic() + seconds
        while not self.ended:
            wait = max(0, end - time.monotonic())
            pending = getattr(self.socket, "pending", lambda: 0)()
            if not pending and not select.select([self.socket], [], [], wait)[0]:
                break
            data = self.socket.recv(1 << 16)
            if not data:
                self.ended = True
                break
            for event in self.state.receive_data(data):
                self._note(event)
            self.flush()

    def _note(self, event):
        if isinstance(event, (h2.events.ResponseReceived, h2.events.TrailersReceived)):
            self.codes += [value for name, value in event.headers if name == "grpc-status"]
        elif isinstance(event, h2.events.DataReceived):
            self.state.acknowledge_received_data(event.flow_controlled_length, event.stream_id)
        elif isinstance(event, h2.events.ConnectionTerminated):
            self.ended = True


# Exceptions that a broken connection raises.
ERRORS = (OSError, h2.exceptions.ProtocolError)


def count_closed(sockets):
    """Number of these connections that the peer has closed."""
    closed = 0
    for connection in sockets:
        with contextlib.suppress(OSError):
            connection.setblocking(False)
        try:
            while connection.recv(1 << 14):
                pass
            closed += 1
        except (BlockingIOError, socket.timeout):
            pass
        except OSError as error:  # an SSL socket that wants to read is open
            closed += 0 if "did not complete" in str(error) else 1
    return closed
