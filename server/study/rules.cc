#include "study/rules.h"

#include <algorithm>
#include <cmath>

#include "schema/field_path.h"
#include "schema/number_text.h"

namespace gyrebox::study {

using google::protobuf::FieldDescriptor;
using schema::NumberText;

/// 2^53: up to here a double represents every whole number exactly.
constexpr double kLargestWhole = 9007199254740992.0;

const v1::FieldRule& RuleOf(const FieldDescriptor& field) { return field.options().GetExtension(v1::rule); }

static std::string Lower(const v1::FieldRule& rule) {
  if (rule.has_at_least()) return "at least " + NumberText(rule.at_least());
  if (rule.has_above()) return "over " + NumberText(rule.above());
  return "";
}

static std::string Upper(const v1::FieldRule& rule) {
  if (rule.has_at_most()) return "at most " + NumberText(rule.at_most());
  if (rule.has_below()) return "below " + NumberText(rule.below());
  return "";
}

static std::string UnitText(const v1::FieldRule& rule) { return rule.unit().empty() ? "" : " " + rule.unit(); }

static std::string ReasonText(const v1::FieldRule& rule) {
  return rule.at_most_reason().empty() ? "" : " (" + rule.at_most_reason() + ")";
}

std::string Wanted(const FieldDescriptor& field) {
  const v1::FieldRule& rule = RuleOf(field);
  const std::string lower = Lower(rule), upper = Upper(rule);
  std::string text = schema::IsWholeNumber(field) ? "a whole number" : "a number";
  if (!lower.empty()) text += ", " + lower;
  if (!upper.empty()) text += (lower.empty() ? ", " : " and ") + upper;
  return text + UnitText(rule) + ReasonText(rule);
}

std::string Fault(double value, const FieldDescriptor& field) {
  const v1::FieldRule& rule = RuleOf(field);
  const std::string given = NumberText(value);
  if (!std::isfinite(value)) return given + " is not a finite number; give " + Wanted(field);
  if (schema::IsWholeNumber(field) && value != std::floor(value)) {
    return given + " is not a whole number; give " + Wanted(field);
  }
  if (schema::IsWholeNumber(field) && std::fabs(value) > kLargestWhole) {
    return given + " is too large to be held exactly; at most " + NumberText(kLargestWhole);
  }
  if ((rule.has_at_least() && value < rule.at_least()) || (rule.has_above() && value <= rule.above())) {
    return given + " is too small; " + Lower(rule) + UnitText(rule);
  }
  if ((rule.has_at_most() && value > rule.at_most()) || (rule.has_below() && value >= rule.below())) {
    return given + " is too large; " + Upper(rule) + UnitText(rule) + ReasonText(rule);
  }
  return "";
}

bool IsFixed(const std::string& path) {
  const auto parts = schema::PartsOf(*v1::StudySpec::descriptor(), path);
  return std::any_of(parts.begin(), parts.end(), [](const auto& part) { return RuleOf(*part.field).fixed(); });
}

std::string UnitAt(const v1::StudySpec& spec, const std::string& path) {
  const FieldDescriptor* field = schema::FindField(*spec.GetDescriptor(), path);
  const std::string unit = field == nullptr ? "" : RuleOf(*field).unit();
  const std::string separator = " or ";
  const size_t at = unit.find(separator);
  if (at == std::string::npos) return unit;
  return spec.drive().has_torque() ? unit.substr(at + separator.size()) : unit.substr(0, at);
}

}  // namespace gyrebox::study
