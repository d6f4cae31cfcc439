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
  std::string message;  ///< the fault and how to correct it
};

/// Contents of a study file and its faults.
struct StudyFile {
  v1::StudySpec spec;                ///< everything that could be read
  std::vector<FileFault> faults;     ///< in the order of their lines
  std::map<std::string, int> lines;  ///< line of every path that the file gives
  bool is_toml = true;               ///< false if it could not be parsed at all

  /// Line of a path, or of its nearest parent in the file; else 1.
  int LineOf(std::string path) const;

  /// All faults, including those found by the server, in the order of their lines. Omits server faults of fields that
  /// could not be read in the first place.
  std::vector<FileFault> AllFaults(const std::vector<v1::FieldViolation>& violations) const;
};

/// Reads the text of a study file. Reports every fault at once.
StudyFile ParseStudyFile(const std::string& text);

}  // namespace gyrebox::client
