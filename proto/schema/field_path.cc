#include "schema/field_path.h"

#include <sstream>

#include "gyrebox/v1/rule.pb.h"

namespace gyrebox::schema {

using google::protobuf::Descriptor;
using google::protobuf::FieldDescriptor;

std::vector<const FieldDescriptor*> FieldsTo(const Descriptor& root, const std::string& path) {
  std::vector<const FieldDescriptor*> fields;
  const Descriptor* message = &root;
  std::istringstream parts(path);
  for (std::string part; std::getline(parts, part, '.');) {
    const FieldDescriptor* field = message ? message->FindFieldByName(part) : nullptr;
    if (field == nullptr || field->is_repeated()) return {};
    fields.push_back(field);
    message = field->message_type();
  }
  return fields;
}

const FieldDescriptor* FindField(const Descriptor& root, const std::string& path) {
  const auto fields = FieldsTo(root, path);
  return fields.empty() ? nullptr : fields.back();
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
    if (field.is_repeated()) continue;
    const std::string path = prefix + field.name();
    if (field.message_type() != nullptr) {
      AddPaths(*field.message_type(), path + ".", paths);
    } else if (IsNumber(field) && !field.options().GetExtension(v1::rule).fixed()) {
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
