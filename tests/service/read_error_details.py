"""Reads the details of refused calls like Python's helpers for the open error model: a google.rpc.Status in the trailer
grpc-status-details-bin (https://grpc.io/docs/guides/error/, "Richer error model").

read_error_details.py ADDRESS PROTO_DIR PROTOC: makes calls that are refused, and prints one line for each."""
import subprocess
import sys
import tempfile

import grpc
from google.protobuf import descriptor_pb2, descriptor_pool, message_factory

address, proto_dir, protoc = sys.argv[1:]
files = ["google/rpc/status.proto", "google/rpc/error_details.proto", "gyrebox/v1/study_service.proto",
         "gyrebox/v1/run_service.proto"]
with tempfile.NamedTemporaryFile() as out:
    subprocess.run([protoc, "-I", proto_dir, "--include_imports", "--descriptor_set_out", out.name, *files], check=True)
    descriptors = descriptor_pb2.FileDescriptorSet.FromString(out.read())
pool = descriptor_pool.DescriptorPool()
for file in descriptors.file:
    pool.Add(file)
factory = message_factory.MessageFactory(pool)


def message(name):
    return factory.GetPrototype(pool.FindMessageTypeByName(name))


def details_of(error):
    """The status of a refusal, and its details by name."""
    trailers = dict(error.trailing_metadata())
    status = message("google.rpc.Status").FromString(trailers["grpc-status-details-bin"])
    assert status.code == error.code().value[0] and status.message == error.details(), status
    details = {}
    for detail in status.details:
        name = detail.type_url.rsplit("/", 1)[1]
        details[name.rsplit(".", 1)[1]] = message(name).FromString(detail.value)
    return details


def tell(what, call):
    try:
        call()
    except grpc.RpcError as error:
        details = details_of(error)
        info = details.pop("ErrorInfo")
        print(what, error.code().name, info.reason, info.domain, *sorted(details))
        return details
    raise AssertionError(what + " was not refused")


channel = grpc.insecure_channel(address)


def unary(service, method, request):
    call = channel.unary_unary(f"/gyrebox.v1.{service}/{method}", request_serializer=lambda r: r.SerializeToString())
    return lambda: call(request, timeout=30)


def stream(service, method, request):
    call = channel.unary_stream(f"/gyrebox.v1.{service}/{method}", request_serializer=lambda r: r.SerializeToString())
    return lambda: list(call(request, timeout=30))


get = message("gyrebox.v1.GetStudyRequest")
create = message("gyrebox.v1.CreateStudyRequest")
cancel = message("gyrebox.v1.CancelStudyRequest")
watch = message("gyrebox.v1.WatchRunsRequest")
tell("unary", unary("StudyService", "GetStudy", get(name="studies/999")))
tell("stream", stream("RunService", "WatchRuns", watch(parent="studies/999")))
wrong = create()
wrong.spec.bed.packing_fraction = 7
violations = tell("study", unary("StudyService", "CreateStudy", wrong))["BadRequest"].field_violations
print(*sorted(violation.field for violation in violations))
failure = tell("state", unary("StudyService", "CancelStudy", cancel(name="studies/1")))["PreconditionFailure"]
print(failure.violations[0].type, failure.violations[0].subject, failure.violations[0].description)
tell("method", unary("StudyService", "NoSuchMethod", get()))
