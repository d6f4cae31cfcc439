#include "study/validation/check_axes.h"

#include <map>

#include "schema/field_path.h"
#include "schema/nearest_name.h"
#include "schema/number_text.h"
#include "study/expand.h"
#include "study/rules.h"

namespace gyrebox::study {

using google::protobuf::FieldDescriptor;
using google::protobuf::Message;

constexpr int kMaxValues = 1000;

static std::string AxisPath(int i) { return "axes[" + std::to_string(i) + "]"; }

/// Why the study does not have a field: a choice on the path differs, such as drive.steady for drive.sine.amplitude, or
/// a list is too short. Empty if it has the field.
static std::string MissingOnTheWay(const v1::StudySpec& spec, const std::string& path) {
  const Message* message = &spec;
  std::string prefix;
  for (const auto& [field, index] : schema::PartsOf(*spec.GetDescriptor(), path)) {
    const auto& reflection = *message->GetReflection();
    if (const auto* choice = field->real_containing_oneof(); choice && !reflection.HasField(*message, field)) {
      const FieldDescriptor* taken = reflection.GetOneofFieldDescriptor(*message, choice);
      return " belongs to a choice not taken; the study has " + prefix + (taken ? taken->name() : "nothing");
    }
    if (index >= 0 && index >= reflection.FieldSize(*message, field)) {
      return " is not there; the study has " + std::to_string(reflection.FieldSize(*message, field)) + " " + prefix +
             field->name() + ", counted from 0";
    }
    if (field->message_type() == nullptr) break;
    message =
        index < 0 ? &reflection.GetMessage(*message, field) : &reflection.GetRepeatedMessage(*message, field, index);
    prefix += field->name() + (index < 0 ? "." : "[" + std::to_string(index) + "].");
  }
  return "";
}

/// Checks the field that an axis names. Returns it, or null if it is invalid.
static const FieldDescriptor* CheckField(const v1::StudySpec& spec, int index, Violations* violations) {
  const std::string& path = spec.axes(index).field();
  const std::string at = AxisPath(index) + ".field";
  if (path.empty()) return nullptr;  // reported by the field's own rule
  const FieldDescriptor* field = schema::FindField(*spec.GetDescriptor(), path);
  const auto paths = schema::VaryingNumberPaths(*spec.GetDescriptor());
  if (field == nullptr) {
    violations->Add(at, path + " names no field" + schema::DidYouMean(path, paths));
    return nullptr;
  }
  if (!schema::IsNumber(*field)) {
    violations->Add(at, path + " is not a number field; an axis varies a number" + schema::DidYouMean(path, paths));
    return nullptr;
  }
  if (IsFixed(path)) {
    violations->Add(at, path + " is the same in all runs of a study; no axis may name it");
    return nullptr;
  }
  if (const std::string missing = MissingOnTheWay(spec, path); !missing.empty()) {
    violations->Add(at, path + missing);
    return nullptr;
  }
  return field;
}

/// Checks how an axis gives its values. Returns whether AxisValues() may be called.
static bool CheckSpacing(const v1::Axis& axis, const std::string& at, Violations* violations) {
  const bool spaced = axis.spacing_case() != v1::Axis::SPACING_NOT_SET;
  if (axis.values_size() > 0 && spaced) {
    violations->Add(at, "gives both values and a spacing; give one of the two");
    return false;
  }
  if (axis.values_size() == 0 && !spaced) {
    violations->Add(at, "gives no values; give values, linear or logarithmic");
    return false;
  }
  if (axis.values_size() > kMaxValues) {
    violations->Add(at + ".values",
                    std::to_string(axis.values_size()) + " values are too many; at most " + std::to_string(kMaxValues));
    return false;
  }
  if (!spaced) return true;
  const std::string rule = axis.has_linear() ? at + ".linear" : at + ".logarithmic";
  if (!violations->Sound(rule)) return false;
  const v1::AxisRange& range = axis.has_linear() ? axis.linear() : axis.logarithmic();
  if (axis.has_logarithmic() && !(range.first() * range.last() > 0)) {
    violations->Add(rule, "equal ratios need first and last on the same side of 0, neither of them 0");
    return false;
  }
  return true;
}

/// Checks each value of an axis.
static void CheckValues(const v1::Axis& axis, const FieldDescriptor& field, const std::string& at,
                        Violations* violations) {
  std::map<double, size_t> indices;
  const auto values = AxisValues(axis);
  for (size_t k = 0; k < values.size(); ++k) {
    const bool listed = axis.values_size() > 0;
    const std::string path =
        listed ? at + ".values[" + std::to_string(k) + "]" : at + (axis.has_linear() ? ".linear" : ".logarithmic");
    const std::string value_of = listed ? "" : "its value ";
    if (const std::string fault = Fault(values[k], field); !fault.empty()) {
      violations->Add(path, value_of + fault);
    } else if (!indices.emplace(values[k], k).second) {
      violations->Add(path, value_of + schema::NumberText(values[k]) + " is there twice; give each value once");
    }
  }
}

void CheckAxes(const v1::StudySpec& spec, Violations* violations) {
  std::set<std::string> named;
  for (int i = 0; i < spec.axes_size(); ++i) {
    const v1::Axis& axis = spec.axes(i);
    const FieldDescriptor* field = CheckField(spec, i, violations);
    if (!axis.field().empty() && !named.insert(axis.field()).second) {
      violations->Add(AxisPath(i) + ".field",
                      axis.field() + " is varied by another axis already; give each field once");
    }
    const bool has_values = CheckSpacing(axis, AxisPath(i), violations);
    if (field != nullptr && has_values) CheckValues(axis, *field, AxisPath(i), violations);
  }
}

}  // namespace gyrebox::study
