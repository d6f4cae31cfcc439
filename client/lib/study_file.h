/// Reads a study file: TOML whose keys are the field names of the schema.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "gyrebox/v1/error.pb.h"
#include "gyrebox/v1/study.pb.h"

namespace gyrebox::client {

/// One fault of a study file.
struct FileFault {
  int line = 1;
  std::string field;    ///< path, such as drive.sine.amplitude; may be empty
  std::string message;  ///< what is wrong and what would be right
};

/// What a study file holds, and what is wrong with it.
struct StudyFile {
  v1::StudySpec spec;                ///< all that could be read
  std::vector<FileFault> faults;     ///< in the order of their lines
  std::map<std::string, int> lines;  ///< line of every path that the file gives
  bool is_toml = true;               ///< false where it could not be read at all

  /// Line of a path; of what holds it, where the file does not give it; else 1.
  int LineOf(std::string path) const;

  /// All faults, those that the server found too, in the order of their lines. Leaves out what the server says of a
  /// field that could not be read in the first place.
  std::vector<FileFault> AllFaults(const std::vector<v1::FieldViolation>& violations) const;
};

/// Reads the text of a study file. Reports every fault at once.
StudyFile ParseStudyFile(const std::string& text);

}  // namespace gyrebox::client
