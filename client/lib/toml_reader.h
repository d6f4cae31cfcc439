/// Walks a TOML table against the schema.
#pragma once

#include <google/protobuf/message.h>
#include <toml++/toml.h>

#include <set>
#include <string>

#include "lib/study_file.h"

namespace gyrebox::client {

/// Reads tables into messages, and records lines and faults in a study file.
class TomlReader {
 public:
  explicit TomlReader(StudyFile* file) : file_(file) {}

  void Read(const toml::table& table, google::protobuf::Message* message, const std::string& prefix = "");

 private:
  using Field = google::protobuf::FieldDescriptor;
  using Message = google::protobuf::Message;

  /// Names of members that are second choices, which are faults and are not read.
  std::set<std::string> FindSecondChoices(const toml::table& table, const google::protobuf::Descriptor& descriptor,
                                          const std::string& prefix);
  void AddUnknown(const std::string& key, const google::protobuf::Descriptor& descriptor, const std::string& prefix,
                  int line);
  void ReadField(const toml::node& node, const Field& field, Message* message, const std::string& path);
  void ReadList(const toml::node& node, const Field& field, Message* message, const std::string& path);
  void ReadSingle(const toml::node& node, const Field& field, Message* message, const std::string& path);
  void ReadWhole(const toml::node& node, const Field& field, Message* message, const std::string& path);
  void ReadDouble(const toml::node& node, const Field& field, Message* message, const std::string& path);
  void AddFault(const toml::node& node, const std::string& path, const std::string& message);
  void AddWrongType(const toml::node& node, const std::string& path, const std::string& wanted);

  StudyFile* file_;
};

}  // namespace gyrebox::client
