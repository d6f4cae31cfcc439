#include "lib/study_writer.h"

#include <cstdio>
#include <vector>

#include "schema/number_text.h"
#include "schema/visible_text.h"

namespace gyrebox::client {

using google::protobuf::FieldDescriptor;
using google::protobuf::Message;

/// As a basic string of TOML 1.0, with invisible characters escaped by number.
static std::string Quoted(const std::string& text) {
  std::string quoted = "\"";
  for (size_t at = 0; at < text.size();) {
    const schema::Character character = schema::CharacterAt(text, at);
    if (character.code == '"' || character.code == '\\') quoted += '\\';
    if (!character.valid || schema::IsHidden(character.code)) {
      char number[12];
      std::snprintf(number, sizeof number, "\\u%04x", static_cast<unsigned>(character.code));
      quoted += character.code == '\n' ? "\\n" : number;
    } else {
      quoted.append(text, at, character.size);
    }
    at += character.size;
  }
  return quoted + "\"";
}

static std::string ValueText(const Message& message, const FieldDescriptor& field) {
  const auto& reflection = *message.GetReflection();
  switch (field.cpp_type()) {
    case FieldDescriptor::CPPTYPE_STRING:
      return Quoted(reflection.GetString(message, &field));
    case FieldDescriptor::CPPTYPE_BOOL:
      return reflection.GetBool(message, &field) ? "true" : "false";
    case FieldDescriptor::CPPTYPE_INT32:
      return std::to_string(reflection.GetInt32(message, &field));
    case FieldDescriptor::CPPTYPE_INT64:
      return std::to_string(reflection.GetInt64(message, &field));
    case FieldDescriptor::CPPTYPE_UINT64:
      return std::to_string(reflection.GetUInt64(message, &field));
    default:
      return schema::NumberText(reflection.GetDouble(message, &field));
  }
}

/// A list of numbers, the only lists of values that the schema has.
static std::string ListText(const Message& message, const FieldDescriptor& field) {
  std::string text;
  for (int i = 0; i < message.GetReflection()->FieldSize(message, &field); ++i) {
    text += (i == 0 ? "" : ", ") + schema::NumberText(message.GetReflection()->GetRepeatedDouble(message, &field, i));
  }
  return "[" + text + "]";
}

/// Writes the keys of a table before its nested tables: in TOML everything after a header belongs to it.
static void Write(const Message& message, const std::string& path, std::string* text) {
  const auto& reflection = *message.GetReflection();
  std::vector<const FieldDescriptor*> fields;
  reflection.ListFields(message, &fields);
  for (const FieldDescriptor* field : fields) {
    if (field->cpp_type() == FieldDescriptor::CPPTYPE_MESSAGE) continue;
    *text +=
        field->name() + " = " + (field->is_repeated() ? ListText(message, *field) : ValueText(message, *field)) + "\n";
  }
  for (const FieldDescriptor* field : fields) {
    if (field->cpp_type() != FieldDescriptor::CPPTYPE_MESSAGE) continue;
    const std::string inner = path.empty() ? field->name() : path + "." + field->name();
    if (!field->is_repeated()) {
      *text += "\n[" + inner + "]\n";
      Write(reflection.GetMessage(message, field), inner, text);
      continue;
    }
    for (int i = 0; i < reflection.FieldSize(message, field); ++i) {
      *text += "\n[[" + inner + "]]\n";
      Write(reflection.GetRepeatedMessage(message, field, i), inner, text);
    }
  }
}

std::string StudyFileText(const v1::StudySpec& spec) {
  std::string text;
  Write(spec, "", &text);
  return text;
}

}  // namespace gyrebox::client
