#include "schema/field_path.h"

#include <charconv>
#include <sstream>

#include "gyrebox/v1/rule.pb.h"

namespace gyrebox::schema {

using google::protobuf::Descriptor;
using google::protobuf::FieldDescriptor;

/// Removes [7] from the end of a name. Returns 7, -1 if there is no index, or -2 if the index is not a whole number.
static int TakeIndex(std::string* name) {
  const size_t open = name->find('[');
  if (open == std::string::npos) return -1;
  const char* const first = name->data() + open + 1;
  const char* const last = name->data() + name->size() - 1;
  int index = 0;
  const auto [end, error] = std::from_chars(first, last, index);
  const bool sound = name->back() == ']' && error == std::errc() && end == last && index >= 0;
  name->resize(open);
  return sound ? index : -2;
}

std::vector<PathPart> PartsOf(const Descriptor& root, const std::string& path) {
  std::vector<PathPart> parts;
  const Descriptor* message = &root;
  std::istringstream names(path);
  for (std::string name; std::getline(names, name, '.');) {
    const int index = TakeIndex(&name);
    const FieldDescriptor* field = message ? message->FindFieldByName(name) : nullptr;
    if (field == nullptr || index == -2 || field->is_repeated() != (index >= 0)) return {};
    message = field->message_type();
    if (field->is_repeated() && message == nullptr) return {};
    parts.push_back({field, index});
  }
  return parts;
}

const FieldDescriptor* FindField(const Descriptor& root, const std::string& path) {
  const auto parts = PartsOf(root, path);
  return parts.empty() ? nullptr : parts.back().field;
}

bool IsWholeNumber(const FieldDescriptor& field) {
  const auto type = field.cpp_type();
  return !field.is_repeated() && (type == FieldDescriptor::CPPTYPE_INT32 || type == FieldDescriptor::CPPTYPE_INT64 ||
                                  type == FieldDescriptor::CPPTYPE_UINT32 || type == FieldDescriptor::CPPTYPE_UINT64);
}

bool IsNumber(const FieldDescriptor& field) {
  return IsWholeNumber(field) || (!field.is_repeated() && field.cpp_type() == FieldDescriptor::CPPTYPE_DOUBLE);
}

static void AddPaths(const Descriptor& message, const std::string& prefix, std::vector<std::string>* paths) {
  for (int i = 0; i < message.field_count(); ++i) {
    const FieldDescriptor& field = *message.field(i);
    if (field.options().GetExtension(v1::rule).fixed()) continue;
    const std::string path = prefix + field.name() + (field.is_repeated() ? "[0]" : "");
    if (field.message_type() != nullptr) {
      AddPaths(*field.message_type(), path + ".", paths);
    } else if (IsNumber(field)) {
      paths->push_back(path);
    }
  }
}

std::vector<std::string> VaryingNumberPaths(const Descriptor& root) {
  std::vector<std::string> paths;
  AddPaths(root, "", &paths);
  return paths;
}

}  // namespace gyrebox::schema
