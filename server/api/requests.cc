#include "api/requests.h"

#include <google/protobuf/io/coded_stream.h>
#include <google/protobuf/io/zero_copy_stream_impl_lite.h>

#include <algorithm>
#include <cctype>

#include "access/secret.h"

namespace gyrebox::api {

constexpr size_t kLongestId = 64;

static bool IsRequestId(const std::string& id) {
  return id.size() <= kLongestId && std::all_of(id.begin(), id.end(), [](unsigned char c) {
           return (c < 0x80 && std::isalnum(c)) || c == '-' || c == '_';
         });
}

/// Serialises deterministically: the same bytes for the same content.
static std::string Bytes(const google::protobuf::Message& content) {
  std::string bytes;
  google::protobuf::io::StringOutputStream stream(&bytes);
  google::protobuf::io::CodedOutputStream coded(&stream);
  coded.SetSerializationDeterministic(true);
  content.SerializeToCodedStream(&coded);
  coded.Trim();
  return bytes;
}

absl::StatusOr<store::Request> ToRequest(const std::string& id, const std::string& user,
                                         const google::protobuf::Message& content) {
  if (!IsRequestId(id)) return absl::InvalidArgumentError("request_id is not up to 64 letters, digits, - or _");
  return store::Request(id, user, content.GetDescriptor()->name(), access::HashOf(Bytes(content)));
}

}  // namespace gyrebox::api
