#include "lib/toml_reader.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

#include "schema/field_path.h"
#include "schema/nearest_name.h"
#include "schema/number_text.h"

namespace gyrebox::client {

using google::protobuf::Descriptor;
using google::protobuf::FieldDescriptor;
using google::protobuf::Message;

static int LineOfNode(const toml::node& node) { return std::max(1, static_cast<int>(node.source().begin.line)); }

static const char* KindOf(const toml::node& node) {
  if (node.is_table()) return "a table";
  if (node.is_array()) return "a list";
  if (node.is_string()) return "a text";
  if (node.is_boolean()) return "a truth value";
  if (node.is_integer()) return "a whole number";
  if (node.is_floating_point()) return "a number";
  return "a date or time";
}

/// A text for display: short, on one line.
static std::string Shown(std::string text) {
  if (text.size() > 40) return "this";
  for (char& c : text) c = static_cast<unsigned char>(c) < 0x20 || c == 0x7F ? '?' : c;
  return '"' + text + '"';
}

/// A value as the file writes it, if it is short.
static std::string Given(const toml::node& node) {
  if (const auto* text = node.as_string()) return Shown(text->get());
  if (const auto* number = node.as_floating_point()) return schema::NumberText(number->get());
  if (const auto* number = node.as_integer()) return std::to_string(number->get());
  if (const auto* truth = node.as_boolean()) return truth->get() ? "true" : "false";
  return "this";
}

void TomlReader::AddFault(const toml::node& node, const std::string& path, const std::string& message) {
  file_->faults.push_back({LineOfNode(node), path, message});
}

void TomlReader::AddWrongType(const toml::node& node, const std::string& path, const std::string& wanted) {
  AddFault(node, path, Given(node) + " is " + KindOf(node) + "; give " + wanted);
}

void TomlReader::Read(const toml::table& table, Message* message, const std::string& prefix) {
  const Descriptor& descriptor = *message->GetDescriptor();
  const auto second_choices = FindSecondChoices(table, descriptor, prefix);
  for (const auto& [key, node] : table) {
    const std::string name(key.str());
    if (second_choices.contains(name)) continue;
    const FieldDescriptor* field = descriptor.FindFieldByName(name);
    if (field == nullptr) {
      AddUnknown(name, descriptor, prefix, static_cast<int>(key.source().begin.line));
    } else {
      file_->lines[prefix + name] = LineOfNode(node);
      ReadField(node, *field, message, prefix + name);
    }
  }
}

std::set<std::string> TomlReader::FindSecondChoices(const toml::table& table, const Descriptor& descriptor,
                                                    const std::string& prefix) {
  std::set<std::string> second;
  for (int i = 0; i < descriptor.real_oneof_decl_count(); ++i) {
    const auto& choice = *descriptor.oneof_decl(i);
    std::string first;
    for (int k = 0; k < choice.field_count(); ++k) {
      const std::string& name = choice.field(k)->name();
      const toml::node* node = table.get(name);
      if (node == nullptr) continue;
      if (first.empty()) {
        first = name;
        continue;
      }
      AddFault(*node, prefix + name, "this is a second choice beside " + prefix + first + "; give one of the two");
      second.insert(name);
    }
  }
  return second;
}

void TomlReader::AddUnknown(const std::string& key, const Descriptor& descriptor, const std::string& prefix, int line) {
  std::string advice;
  if (const auto* choice = descriptor.FindOneofByName(key)) {
    const bool of_tables = choice->field(0)->message_type() != nullptr;
    advice = of_tables ? "a choice is a table; give one of " : "give one of ";
    for (int i = 0; i < choice->field_count(); ++i) {
      const std::string member = prefix + choice->field(i)->name();
      advice += (i ? ", " : "") + (of_tables ? "[" + member + "]" : member);
    }
  } else {
    std::vector<std::string> siblings;
    for (int i = 0; i < descriptor.field_count(); ++i) siblings.push_back(descriptor.field(i)->name());
    std::string near = schema::NearestName(key, siblings);
    if (near.empty()) near = schema::NearestName(key, schema::VaryingNumberPaths(*file_->spec.GetDescriptor()));
    if (!near.empty()) {
      advice = "did you mean " + near + "?";
    } else {
      for (const auto& name : siblings) advice += (advice.empty() ? "the fields here are " : ", ") + name;
      if (siblings.empty()) advice = "it has no fields";
    }
  }
  file_->faults.push_back({line, prefix + key, "there is no such field; " + advice});
}

void TomlReader::ReadField(const toml::node& node, const FieldDescriptor& field, Message* message,
                           const std::string& path) {
  if (field.is_repeated()) return ReadList(node, field, message, path);
  if (field.message_type() == nullptr) return ReadSingle(node, field, message, path);
  if (!node.is_table()) return AddWrongType(node, path, "a table, [" + path + "]");
  Read(*node.as_table(), message->GetReflection()->MutableMessage(message, &field), path + ".");
}

void TomlReader::ReadList(const toml::node& node, const FieldDescriptor& field, Message* message,
                          const std::string& path) {
  const bool of_tables = field.message_type() != nullptr;
  const std::string wanted = of_tables ? "tables, [[" + path + "]]" : "a list of numbers, [1, 2]";
  if (!node.is_array()) return AddWrongType(node, path, wanted);
  size_t i = 0;
  for (const toml::node& element : *node.as_array()) {
    const std::string element_path = path + "[" + std::to_string(i++) + "]";
    file_->lines[element_path] = LineOfNode(element);
    if (of_tables && element.is_table()) {
      Read(*element.as_table(), message->GetReflection()->AddMessage(message, &field), element_path + ".");
    } else if (!of_tables && element.is_number()) {
      message->GetReflection()->AddDouble(message, &field, *element.value<double>());
    } else {
      AddWrongType(element, element_path, of_tables ? "a table, [[" + path + "]]" : "a number");
    }
  }
}

void TomlReader::ReadSingle(const toml::node& node, const FieldDescriptor& field, Message* message,
                            const std::string& path) {
  const auto& reflection = *message->GetReflection();
  switch (field.cpp_type()) {
    case FieldDescriptor::CPPTYPE_STRING:
      if (!node.is_string()) return AddWrongType(node, path, "a text");
      return reflection.SetString(message, &field, node.as_string()->get());
    case FieldDescriptor::CPPTYPE_BOOL:
      if (!node.is_boolean()) return AddWrongType(node, path, "true or false");
      return reflection.SetBool(message, &field, node.as_boolean()->get());
    case FieldDescriptor::CPPTYPE_DOUBLE:
      return ReadDouble(node, field, message, path);
    default:
      return ReadWhole(node, field, message, path);
  }
}

void TomlReader::ReadDouble(const toml::node& node, const FieldDescriptor& field, Message* message,
                            const std::string& path) {
  if (!node.is_number()) return AddWrongType(node, path, "a number");
  message->GetReflection()->SetDouble(message, &field, *node.value<double>());
}

/// A whole number, also one written as 1e6.
static std::optional<int64_t> WholeNumber(const toml::node& node) {
  if (const auto* whole = node.as_integer()) return whole->get();
  const double value = node.is_floating_point() ? node.as_floating_point()->get() : 0.5;
  if (value != std::floor(value) || std::fabs(value) > 9e15) return std::nullopt;
  return static_cast<int64_t>(value);
}

void TomlReader::ReadWhole(const toml::node& node, const FieldDescriptor& field, Message* message,
                           const std::string& path) {
  const auto value = WholeNumber(node);
  if (!value && node.is_floating_point()) return AddFault(node, path, Given(node) + " is not a whole number; give one");
  if (!value) return AddWrongType(node, path, "a whole number");
  const auto& reflection = *message->GetReflection();
  switch (field.cpp_type()) {
    case FieldDescriptor::CPPTYPE_INT32:
      if (*value < std::numeric_limits<int32_t>::min() || *value > std::numeric_limits<int32_t>::max()) {
        return AddFault(node, path, Given(node) + " is out of range; from -2147483648 to 2147483647");
      }
      return reflection.SetInt32(message, &field, static_cast<int32_t>(*value));
    case FieldDescriptor::CPPTYPE_UINT64:
      if (*value < 0) return AddFault(node, path, Given(node) + " is below 0; give a whole number from 0");
      return reflection.SetUInt64(message, &field, static_cast<uint64_t>(*value));
    default:
      return reflection.SetInt64(message, &field, *value);
  }
}

}  // namespace gyrebox::client
