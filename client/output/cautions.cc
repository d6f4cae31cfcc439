#include "output/cautions.h"

#include <string>

#include "gyrebox/field_limits.h"
#include "schema/number_text.h"

namespace gyrebox::client {

constexpr double kTesla = 1e-3;  // per millitesla
constexpr double kHeatingFrom = 1e5;

static std::string Millitesla(double tesla) { return schema::NumberText(tesla / kTesla, 3) + " mT"; }

static std::string Verdict(double rms, const units::ReferenceLevels& levels) {
  if (rms > levels.occupational) return "ABOVE both levels";
  if (rms > levels.general_public) return "ABOVE the public level, not above the occupational one";
  return "not above these levels";
}

static void WriteConstantLevels(std::ostream& out) {
  out << "  Below 1 Hz a field counts as constant: " << Millitesla(units::kConstantPublic)
      << " for the general public, and warnings for wearers of implants\n  from "
      << Millitesla(units::kConstantImplants) << " (ICNIRP, Health Phys. 96, 504 (2009); from memory).\n";
}

static void WriteLevels(std::ostream& out, std::optional<double> field_mt, double frequency_hz) {
  const units::ReferenceLevels levels = units::LevelsAt(frequency_hz);
  out << "  At " << schema::NumberText(frequency_hz, 4) << " Hz the reference levels are "
      << Millitesla(levels.occupational) << " rms for occupational exposure and " << Millitesla(levels.general_public)
      << " rms for the\n  general public (ICNIRP, Health Phys. 99, 818 (2010)).\n";
  if (frequency_hz > kHeatingFrom) out << "  Above 100 kHz further limits apply, against heating of the body.\n";
  if (!field_mt) return;
  const double peak = *field_mt * kTesla, rms = units::RmsOfPeak(peak);
  out << "  The given peak of " << Millitesla(peak) << " is an exposure of " << Millitesla(rms)
      << " rms if the field oscillates: " << Verdict(rms, levels) << ";\n  of " << Millitesla(peak)
      << " rms if it rotates: " << Verdict(peak, levels) << ".\n";
}

void WriteCautions(std::ostream& out, std::optional<double> field_mt, std::optional<double> frequency_hz) {
  if (!field_mt && !frequency_hz) return;
  out << "\nCautions for magnetic fields and coils:\n";
  if (!frequency_hz) {
    out << "  The exposure limit depends on the frequency of the field; none is given.\n";
  } else if (*frequency_hz < units::kLowestLevelFrequency) {
    WriteConstantLevels(out);
  } else if (*frequency_hz <= units::kHighestLevelFrequency) {
    WriteLevels(out, field_mt, *frequency_hz);
  }
  out << "  - Keep your distance while the coils are on: the field falls off quickly. Measure it where you work.\n"
         "  - Keep wearers of pacemakers, pumps, metal implants or hearing aids away; far weaker fields disturb some.\n"
         "  - Coils heat up: watch their temperature and that of the sample; they can burn skin and start fires.\n"
         "  - Coils and amplifiers can give lethal shocks, also when switched off suddenly: insulate, fuse, earth.\n"
         "  - Keep iron and steel tools, cards and watches away: they are attracted, heated or damaged.\n"
         "  This is not a safety assessment: local rules and a licensed expert decide.\n";
}

void WriteCautions(std::ostream& out, const v1::Laboratory& laboratory) {
  const auto given = [](bool has, double value) { return has ? std::optional(value) : std::nullopt; };
  WriteCautions(out, given(laboratory.has_field_mt(), laboratory.field_mt()),
                given(laboratory.has_frequency_hz(), laboratory.frequency_hz()));
}

}  // namespace gyrebox::client
