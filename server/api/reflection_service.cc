#include "api/reflection_service.h"

#include <google/protobuf/descriptor.h>
#include <google/protobuf/descriptor.pb.h>

#include <set>

#include "api/entry.h"
#include "status/status.h"

namespace gyrebox::api {

using google::protobuf::DescriptorPool;
using google::protobuf::FieldDescriptor;
using google::protobuf::FileDescriptor;

/// Reads a request, answers it, and reads the next one.
class ReflectionService::Conversation : public grpc::ServerBidiReactor<Request, Response> {
 public:
  Conversation(const ReflectionService& service, absl::StatusOr<stream::StreamAuthorization> authorization)
      : service_(service), authorization_(std::move(authorization)) {
    if (GoesOn()) StartRead(&request_);
  }

  void OnReadDone(bool ok) override {
    if (!ok) return Finish(grpc::Status::OK);
    if (!GoesOn()) return;
    response_ = service_.Answer(request_);
    StartWrite(&response_);
  }
  void OnWriteDone(bool ok) override {
    if (!ok) return Finish(grpc::Status::CANCELLED);
    StartRead(&request_);
  }
  void OnDone() override { delete this; }

 private:
  bool GoesOn() {
    const absl::Status status = authorization_.ok() ? (*authorization_)() : authorization_.status();
    if (!status.ok()) Finish(ToGrpcStatus(status));
    return status.ok();
  }

  const ReflectionService& service_;
  const absl::StatusOr<stream::StreamAuthorization> authorization_;
  Request request_;
  Response response_;
};

/// Adds a file and all that it imports, each once.
static void AddFiles(const FileDescriptor* file, std::set<const FileDescriptor*>* seen,
                     grpc::reflection::v1alpha::FileDescriptorResponse* response) {
  if (!seen->insert(file).second) return;
  google::protobuf::FileDescriptorProto text;
  file->CopyTo(&text);
  response->add_file_descriptor_proto(text.SerializeAsString());
  for (int i = 0; i < file->dependency_count(); ++i) AddFiles(file->dependency(i), seen, response);
}

static void SetError(const std::string& what, ReflectionService::Response* response) {
  auto* error = response->mutable_error_response();
  error->set_error_code(grpc::StatusCode::NOT_FOUND);
  error->set_error_message("there is no " + what);
}

static void SetFiles(const FileDescriptor* file, const std::string& what, ReflectionService::Response* response) {
  if (file == nullptr) return SetError(what, response);
  std::set<const FileDescriptor*> seen;
  AddFiles(file, &seen, response->mutable_file_descriptor_response());
}

static void SetExtensions(const std::string& type, ReflectionService::Response* response) {
  const auto* message = DescriptorPool::generated_pool()->FindMessageTypeByName(type);
  if (message == nullptr) return SetError("message " + type, response);
  std::vector<const FieldDescriptor*> extensions;
  DescriptorPool::generated_pool()->FindAllExtensions(message, &extensions);
  auto* numbers = response->mutable_all_extension_numbers_response();
  numbers->set_base_type_name(type);
  for (const FieldDescriptor* extension : extensions) numbers->add_extension_number(extension->number());
}

grpc::reflection::v1alpha::ServerReflectionResponse ReflectionService::Answer(const Request& request) const {
  const DescriptorPool& pool = *DescriptorPool::generated_pool();
  Response response;
  response.set_valid_host(request.host());
  *response.mutable_original_request() = request;
  switch (request.message_request_case()) {
    case Request::kFileByFilename:
      SetFiles(pool.FindFileByName(request.file_by_filename()), "file " + request.file_by_filename(), &response);
      break;
    case Request::kFileContainingSymbol:
      SetFiles(pool.FindFileContainingSymbol(request.file_containing_symbol()),
               "symbol " + request.file_containing_symbol(), &response);
      break;
    case Request::kFileContainingExtension: {
      const auto& asked = request.file_containing_extension();
      const auto* message = pool.FindMessageTypeByName(asked.containing_type());
      const auto* field = message == nullptr ? nullptr : pool.FindExtensionByNumber(message, asked.extension_number());
      SetFiles(field == nullptr ? nullptr : field->file(), "such extension", &response);
      break;
    }
    case Request::kAllExtensionNumbersOfType:
      SetExtensions(request.all_extension_numbers_of_type(), &response);
      break;
    case Request::kListServices:
      for (const std::string& name : services_)
        response.mutable_list_services_response()->add_service()->set_name(name);
      break;
    default:
      SetError("such request", &response);
  }
  return response;
}

grpc::ServerBidiReactor<grpc::reflection::v1alpha::ServerReflectionRequest,
                        grpc::reflection::v1alpha::ServerReflectionResponse>*
ReflectionService::ServerReflectionInfo(grpc::CallbackServerContext* context) {
  return new Conversation(*this, EnterStream(server_, *context, static_cast<const Request*>(nullptr)));
}

}  // namespace gyrebox::api
