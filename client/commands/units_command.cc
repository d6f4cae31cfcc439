#include <cmath>
#include <iostream>
#include <numbers>

#include "commands/registry.h"
#include "gyrebox/units.h"
#include "output/cautions.h"
#include "output/text_table.h"
#include "schema/number_text.h"

namespace gyrebox::client {

/// Values to convert. Names end in their units; names without a unit are in reduced units.
struct UnitsInput {
  std::optional<double> diameter_um, field_mt, moment_am2, frequency_hz;
  double viscosity_mpa_s = 0.890;  ///< water at 25 degrees Celsius; from memory
  double temperature_k = 298.15;
  double reduced_temperature = 0.002;  ///< k_B T in epsilon
  std::optional<double> rate, torque, frequency, time;
};

constexpr double kTurn = 2 * std::numbers::pi;

/// Rows of a name, its value in reduced units and in laboratory units.
class UnitRows {
 public:
  explicit UnitRows(const UnitsInput& in)
      : in_(in),
        scale_(units::ScaleOf(Diameter(), Viscosity(), in.temperature_k, in.reduced_temperature)),
        thermal_(units::ThermalEnergy(in.temperature_k)) {}

  std::vector<Row> Make() {
    AddScales();
    AddDrags();
    AddGiven();
    AddField();
    return std::move(rows_);
  }

 private:
  double Diameter() const { return *in_.diameter_um * 1e-6; }
  double Viscosity() const { return in_.viscosity_mpa_s * 1e-3; }

  void Add(const std::string& name, double reduced, const std::string& reduced_unit, double value,
           const std::string& unit) {
    const auto text = [](double number, const std::string& of) {
      return schema::NumberText(number, 5) + (of.empty() ? "" : " ") + of;
    };
    rows_.push_back({name, text(reduced, reduced_unit), text(value, unit)});
  }

  void AddScales() {
    rows_.push_back({"", "reduced", "laboratory"});
    Add("length: bead diameter", 1, "sigma", *in_.diameter_um, "um");
    Add("energy", 1, "epsilon", scale_.energy, "J");
    Add("thermal energy", in_.reduced_temperature, "epsilon", thermal_, "J");
    Add("time", 1, "tau", scale_.time, "s");
    Add("frequency", 1, "cycles/tau", scale_.Frequency(1), "Hz");
    Add("angular velocity", 1, "rad/tau", scale_.Rate(1), "rad/s");
    Add("torque", 1, "epsilon", scale_.Torque(1), "N m");
  }

  void AddDrags() {
    const double turning = units::RotationalDrag(Viscosity(), Diameter());
    const double moves = units::Diffusion(thermal_, scale_.drag), turns = units::Diffusion(thermal_, turning);
    Add("translational drag of a sphere", 1, "zeta_0", scale_.drag, "kg/s");
    Add("rotational drag of a sphere", turning / (scale_.drag * scale_.length * scale_.length), "zeta_0 sigma^2",
        turning, "N m s");
    Add("translational diffusion", in_.reduced_temperature, "sigma^2/tau", moves, "m^2/s");
    Add("rotational diffusion", turns * scale_.time, "rad^2/tau", turns, "rad^2/s");
  }

  void AddGiven() {
    if (in_.time) Add("time given", *in_.time, "tau", scale_.Time(*in_.time), "s");
    if (in_.frequency) Add("frequency given", *in_.frequency, "cycles/tau", scale_.Frequency(*in_.frequency), "Hz");
    if (in_.torque) Add("torque given", *in_.torque, "epsilon", scale_.Torque(*in_.torque), "N m");
    if (in_.rate) {
      Add("rate given", *in_.rate, "rad/tau", scale_.Rate(*in_.rate), "rad/s");
      AddTurning("at the rate given", std::fabs(scale_.Rate(*in_.rate)));
    }
    if (in_.frequency_hz && *in_.frequency_hz > 0) {
      const double rate = kTurn * *in_.frequency_hz;
      Add("field frequency", scale_.ReducedFrequency(*in_.frequency_hz), "cycles/tau", *in_.frequency_hz, "Hz");
      Add("angular velocity of a rotating field", scale_.ReducedRate(rate), "rad/tau", rate, "rad/s");
      AddTurning("at that rate", rate);
    }
  }

  /// Torque and Peclet number of a bead at an angular velocity in rad/s.
  void AddTurning(const std::string& when, double rate) {
    const double torque = units::RotationalDrag(Viscosity(), Diameter()) * rate;
    const double diffusion = units::Diffusion(thermal_, scale_.drag);
    Add("torque on an isolated sphere " + when, scale_.ReducedTorque(torque), "epsilon", torque, "N m");
    AddNumber("that torque over k_B T", torque / thermal_);
    AddNumber("Peclet number " + when, units::PecletNumber(rate, Diameter(), diffusion));
  }

  void AddNumber(const std::string& name, double number) { rows_.push_back({name, schema::NumberText(number, 5), ""}); }

  void AddField() {
    if (!in_.moment_am2 || !in_.field_mt) return;
    const double field = *in_.field_mt * 1e-3;
    const double step_out = units::StepOutRate(*in_.moment_am2, field, Viscosity(), Diameter());
    Add("step-out rate m B / (8 pi viscosity radius^3)", scale_.ReducedRate(step_out), "rad/tau", step_out, "rad/s");
    if (!in_.frequency_hz || *in_.frequency_hz == 0) return;
    const double rate = kTurn * *in_.frequency_hz;
    AddNumber("Mason number: field rate over step-out rate",
              units::MasonNumber(rate, *in_.moment_am2, field, Viscosity(), Diameter()));
  }

  const UnitsInput& in_;
  const units::Scale scale_;
  const double thermal_;
  std::vector<Row> rows_;
};

static ExitCode Refuse(const std::string& message) {
  std::cerr << "gyrebox: " << message << "\n";
  return kBadInput;
}

/// Fault of the first option out of range; empty if all are valid.
static std::string Unsound(const UnitsInput& in) {
  const std::pair<const char*, std::optional<double>> kOverZero[] = {
      {"--diameter-um", in.diameter_um},     {"--viscosity-mpa-s", in.viscosity_mpa_s},
      {"--temperature-k", in.temperature_k}, {"--reduced-temperature", in.reduced_temperature},
      {"--field-mt", in.field_mt},           {"--moment-am2", in.moment_am2}};
  for (const auto& [name, value] : kOverZero) {
    if (value && !(std::isfinite(*value) && *value > 0)) return std::string(name) + " needs a number over 0";
  }
  if (in.frequency_hz && !(*in.frequency_hz >= 0 && *in.frequency_hz <= 1e7)) {
    return "--frequency-hz needs a number from 0 to 1e7";
  }
  const std::pair<const char*, std::optional<double>> kAny[] = {
      {"--rate", in.rate}, {"--torque", in.torque}, {"--frequency", in.frequency}, {"--time", in.time}};
  for (const auto& [name, value] : kAny) {
    if (value && !std::isfinite(*value)) return std::string(name) + " needs a finite number";
  }
  return "";
}

/// A bead of less than this many micrometres is no colloid: the diameter was probably given in metres.
constexpr double kSmallestUm = 1e-3;

/// What the numbers hang on, what is missing, and the lines for a study.
static void WriteNotes(const UnitsInput& in) {
  if (!in.diameter_um) return;
  if (*in.diameter_um < kSmallestUm) {
    std::cerr << "gyrebox: --diameter-um " << schema::NumberText(*in.diameter_um, 5)
              << " is under a nanometre; was it given in metres? " << schema::NumberText(*in.diameter_um * 1e6, 5)
              << " um is --diameter-um " << schema::NumberText(*in.diameter_um * 1e6, 5) << "\n";
  }
  std::cout << "\ntau = 3 pi viscosity diameter^3 x reduced temperature / (k_B T): it is proportional to the reduced "
               "temperature of the study.\n";
  if (in.field_mt && !in.moment_am2) {
    std::cout << "Missing for the step-out rate: the magnetic moment of a spinner, --moment-am2.\n";
  }
}

static void WriteStudyLines(const UnitsInput& in) {
  if (!in.diameter_um) return;
  const auto line = [](const char* name, std::optional<double> value) {
    if (value) std::cout << name << " = " << schema::NumberText(*value, 6) << "\n";
  };
  std::cout << "\nIn a study:\n[thermal]\n";
  line("temperature", in.reduced_temperature);
  std::cout << "[laboratory]\n";
  line("bead_diameter_um", in.diameter_um);
  line("viscosity_mpa_s", in.viscosity_mpa_s);
  line("temperature_k", in.temperature_k);
  line("field_mt", in.field_mt);
  line("moment_a_m2", in.moment_am2);
  line("frequency_hz", in.frequency_hz);
}

static ExitCode Units(const UnitsInput& in) {
  if (const std::string fault = Unsound(in); !fault.empty()) return Refuse(fault);
  if (!in.diameter_um && !in.field_mt && !in.frequency_hz) {
    return Refuse("give --diameter-um for a table of units, or --field-mt and --frequency-hz for the cautions");
  }
  if (in.diameter_um) WriteAligned(std::cout, UnitRows(in).Make(), {Align::kLeft, Align::kRight, Align::kRight});
  WriteNotes(in);
  WriteStudyLines(in);
  WriteCautions(std::cout, in.field_mt, in.frequency_hz);
  return kDone;
}

void RegisterUnitsCommand(Registry& registry) {
  const auto in = std::make_shared<UnitsInput>();
  CLI::App* units = registry.Add("units", "Convert between reduced and laboratory units; needs no server",
                                 [in](const Session&) { return Units(*in); });
  units->add_option("--diameter-um", in->diameter_um, "Diameter of a bead in micrometres");
  units->add_option("--viscosity-mpa-s", in->viscosity_mpa_s, "Viscosity in mPa s")->capture_default_str();
  units->add_option("--temperature-k", in->temperature_k, "Temperature in kelvin")->capture_default_str();
  units->add_option("--reduced-temperature", in->reduced_temperature, "The study's thermal.temperature, in epsilon")
      ->capture_default_str();
  units->add_option("--field-mt", in->field_mt, "Peak of the magnetic field in mT");
  units->add_option("--moment-am2", in->moment_am2, "Magnetic moment of a spinner in A m^2");
  units->add_option("--frequency-hz", in->frequency_hz, "Frequency of the field in Hz");
  units->add_option("--rate,--amplitude", in->rate, "Angular velocity, or amplitude of a rate drive, in rad/tau");
  units->add_option("--torque", in->torque, "Torque, or amplitude of a torque drive, in epsilon");
  units->add_option("--frequency", in->frequency, "Frequency in cycles/tau");
  units->add_option("--time", in->time, "Time in tau");
}

}  // namespace gyrebox::client
