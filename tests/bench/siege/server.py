"""Starting, reaching and stopping a server: the only module that knows its options and credentials."""

import contextlib
import dataclasses
import os
import pathlib
import signal
import socket
import ssl
import subprocess
import sys
import time

START_SECONDS = 30
STOP_SECONDS = 15
ATTACKER_ADDRESS = "127.0.0.2"  # separate, so that per-address limits apply to the attacker alone


def make_stubs(proto, folder):
    """Generates Python code of the schema into `folder`, with Debian's protoc."""
    folder = pathlib.Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    files = sorted(str(p.relative_to(proto)) for p in pathlib.Path(proto, "gyrebox").rglob("*.proto"))
    subprocess.run(
        ["protoc", "-I", proto, f"--python_out={folder}", f"--grpc_python_out={folder}",
         "--plugin=protoc-gen-grpc_python=/usr/bin/grpc_python_plugin", *files], check=True)
    return str(folder)


def make_certificate(folder):
    """A self-signed certificate of localhost, valid for a day. Returns the paths of certificate and key."""
    cert, key = f"{folder}/cert.pem", f"{folder}/key.pem"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "1",
         "-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1", "-keyout", key,
         "-out", cert],
        check=True, capture_output=True)
    return cert, key


@dataclasses.dataclass(frozen=True)
class Endpoint:
    """What a client needs to reach a server. Can be sent to another process."""

    address: str  # HOST:PORT or unix:PATH
    stubs: str  # folder of the generated code
    certificate: str = ""  # path; empty without TLS
    token: str = ""
    source: str = ""  # loopback address that bare connections come from

    def import_stubs(self):
        if self.stubs not in sys.path:
            sys.path.insert(0, self.stubs)

    def channel(self):
        """A new channel that shares no connection with others."""
        import grpc

        options = [("grpc.max_receive_message_length", -1), ("grpc.use_local_subchannel_pool", 1),
                   ("grpc.max_reconnect_backoff_ms", 1000)]
        if not self.certificate:
            return grpc.insecure_channel(self.address, options)
        credentials = grpc.ssl_channel_credentials(pathlib.Path(self.certificate).read_bytes())
        if self.token:
            token = grpc.access_token_call_credentials(self.token)
            credentials = grpc.composite_channel_credentials(credentials, token)
        return grpc.secure_channel(self.address, credentials, options)

    def socket(self):
        """A bare connection: TCP or Unix, no TLS yet."""
        if self.address.startswith("unix:"):
            bare = socket.socket(socket.AF_UNIX)
            bare.settimeout(5)
            bare.connect(self.address[len("unix:"):])
            return bare
        host, port = self.address.rsplit(":", 1)
        return socket.create_connection((host, int(port)), timeout=5, source_address=(self.source, 0))

    def secured(self, bare):
        """The same connection after the TLS handshake; unchanged where the server has no TLS."""
        if not self.certificate:
            return bare
        context = ssl.create_default_context(cafile=self.certificate)
        context.set_alpn_protocols(["h2"])
        return context.wrap_socket(bare, server_hostname="localhost")


class Server:
    """A real gyreboxd on loopback with one device thread and a data folder of its own."""

    def __init__(self, binary, work, stubs, tls=True, options=(), open_files=None):
        self.binary, self.work, self.stubs = binary, pathlib.Path(work), stubs
        self.work.mkdir(parents=True)
        self.data, self.log = f"{work}/data", f"{work}/log"
        self.certificate, self.key = make_certificate(work) if tls else ("", "")
        self.options, self.open_files = list(options), open_files
        self.process = None
        self.endpoint = None

    def start(self):
        """Starts it and waits until it answers. The endpoint then holds an admin's token."""
        token = self._make_admin() if self.certificate else ""
        port_file = self.work / "port"
        command = [self.binary, "--data", self.data, "--listen", "127.0.0.1:0", "--device", "cpu", "--threads", "1",
                   "--port-file", str(port_file), *self.options]
        if self.certificate:
            command += ["--tls-cert", self.certificate, "--tls-key", self.key]
        if self.open_files:
            command = ["prlimit", f"--nofile={self.open_files}:{self.open_files}", *command]
        with open(self.log, "w") as log:
            # A server without TLS writes its address there, for other programs of its user.
            environment = {**os.environ, "XDG_RUNTIME_DIR": str(self.work)}
            self.process = subprocess.Popen(command, stdout=log, stderr=subprocess.STDOUT, env=environment)
        end = time.monotonic() + START_SECONDS
        while not (port_file.exists() and port_file.read_text().endswith("\n")):
            if self.process.poll() is not None or time.monotonic() > end:
                self.stop()
                raise RuntimeError(f"the server did not start: {pathlib.Path(self.log).read_text()[-1000:]}")
            time.sleep(0.05)
        # Without TLS a Unix socket needs no token; a server without one takes calls without token on its port.
        unix = not self.certificate and os.path.exists(f"{self.data}/gyreboxd.sock")
        address = f"unix:{self.data}/gyreboxd.sock" if unix else port_file.read_text().strip()
        self.endpoint = Endpoint(address, self.stubs, self.certificate, token)
        return self

    def add_user(self, name):
        """The endpoint of a new member; the same endpoint if the server has no tokens."""
        if not self.certificate:
            return self.endpoint
        self.endpoint.import_stubs()
        from gyrebox.v1 import people_service_pb2 as users
        from gyrebox.v1 import people_service_pb2_grpc as user_grpc

        with self.endpoint.channel() as channel:
            request = users.CreateTokenRequest(user=name, role=users.Token.ROLE_MEMBER)
            secret = user_grpc.UserServiceStub(channel).CreateToken(request, timeout=20).secret
        return dataclasses.replace(self.endpoint, token=secret)

    def add_attacker(self, name):
        """A new member whose bare connections come from another address."""
        return dataclasses.replace(self.add_user(name), source=ATTACKER_ADDRESS)

    def stranger(self):
        """The endpoint of someone without a token, at that address too."""
        return dataclasses.replace(self.endpoint, token="", source=ATTACKER_ADDRESS)

    def resident_bytes(self):
        with contextlib.suppress(OSError):
            for line in open(f"/proc/{self.process.pid}/status"):
                if line.startswith("VmRSS"):
                    return int(line.split()[1]) * 1024
        return 0

    def exit_code(self):
        """Exit code; None while it runs; the negative signal number if a signal ended it."""
        return self.process.poll()

    def seconds_until_healthy(self, limit):
        """Seconds until a new client gets a response; None beyond the limit or if the server is gone."""
        import grpc

        self.endpoint.import_stubs()
        from gyrebox.v1 import box_service_pb2 as machine
        from gyrebox.v1 import box_service_pb2_grpc as machine_grpc

        begin = time.monotonic()
        while time.monotonic() < begin + limit and self.exit_code() is None:
            with self.endpoint.channel() as channel, contextlib.suppress(grpc.RpcError):
                machine_grpc.MachineServiceStub(channel).GetMachine(machine.GetMachineRequest(), timeout=5)
                return time.monotonic() - begin
            time.sleep(0.2)
        return None

    def stop(self):
        """Stops it gracefully, or by force after a timeout. Returns the exit code."""
        if self.process is None:
            return None
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            try:
                self.process.wait(STOP_SECONDS)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        return self.process.returncode

    def _make_admin(self):
        out = subprocess.run([self.binary, "--data", self.data, "--make-admin", "anna"], check=True, text=True,
                             capture_output=True).stdout
        return out.strip().splitlines()[-1]
