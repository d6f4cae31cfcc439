#include "cuda/cuda_device.h"

#include <dlfcn.h>

#include <filesystem>
#include <new>
#include <stdexcept>

#include "cuda/bed_memory.h"
#include "cuda/ensemble.h"

namespace gyrebox::kernels::cuda {
namespace {

// Beds may use this fraction of the device's memory; the rest is for tables and other processes.
constexpr double kMemoryFraction = 0.9;
constexpr const char* kModule = "libgyrebox_cuda.so";

class CudaDevice : public Device {
 public:
  CudaDevice(std::shared_ptr<Driver> driver, int index) : driver_(std::move(driver)), index_(index) {
    const DeviceFacts facts = driver_->facts();
    memory_bytes_ = static_cast<std::int64_t>(kMemoryFraction * static_cast<double>(facts.total_bytes));
    description_ = facts.name + ", " + std::to_string(facts.multiprocessors) + " multiprocessors, compute capability " +
                   std::to_string(facts.major) + "." + std::to_string(facts.minor);
  }

  std::string name() const override { return "cuda:" + std::to_string(index_); }
  std::string description() const override { return description_; }
  int thread_count() const override { return driver_->facts().multiprocessors; }
  std::int64_t memory_bytes() const override { return memory_bytes_; }
  std::int64_t BytesOf(const RunSpec& spec) const override { return cuda::BytesOf(spec, *driver_); }

  std::unique_ptr<Ensemble> NewEnsemble(std::span<const RunSpec> specs) override {
    std::int64_t bytes = 0;
    for (const RunSpec& spec : specs) {
      const std::vector<SpecFault> faults = Validate(spec);
      if (!faults.empty()) throw std::invalid_argument(faults[0].field + ": " + faults[0].reason);
      bytes += BytesOf(spec);
    }
    const DeviceFacts facts = driver_->facts();
    if (specs.size() == 1 && bytes > facts.total_bytes) {
      throw std::invalid_argument("n_beads: this bed needs " + std::to_string(bytes) + " bytes of device memory, of " +
                                  std::to_string(facts.total_bytes) + " there");
    }
    if (bytes > facts.free_bytes) throw std::bad_alloc();
    return std::make_unique<CudaEnsemble>(specs, driver_);
  }

 private:
  std::shared_ptr<Driver> driver_;
  int index_;
  std::int64_t memory_bytes_ = 0;
  std::string description_;
};

void* OpenModule(std::string& reason) {
  const std::filesystem::path program = std::filesystem::read_symlink("/proc/self/exe").parent_path();
  for (const std::string& path :
       {(program / kModule).string(), (program.parent_path() / "lib" / kModule).string(), std::string(kModule)}) {
    if (path.find('/') != std::string::npos && !std::filesystem::exists(path)) continue;
    if (void* module = dlopen(path.c_str(), RTLD_NOW | RTLD_LOCAL)) return module;
    reason = dlerror();
  }
  return nullptr;
}

}  // namespace

std::unique_ptr<Device> NewDevice(std::shared_ptr<Driver> driver, int index) {
  return std::make_unique<CudaDevice>(std::move(driver), index);
}

std::shared_ptr<Driver> OpenDriver(int index, std::string& reason) {
  void* module = OpenModule(reason);
  if (module == nullptr) {
    reason = "the CUDA module could not be opened: " + reason;
    return nullptr;
  }
  const auto version = reinterpret_cast<VersionFunction>(dlsym(module, kVersionSymbol));
  const auto open = reinterpret_cast<OpenFunction>(dlsym(module, kOpenSymbol));
  if (version == nullptr || open == nullptr || version() != kDriverVersion) {
    reason = "the CUDA module is of another version of this program";
    return nullptr;
  }
  char text[256] = "";
  std::shared_ptr<Driver> driver(open(index, text, sizeof(text)));
  if (driver == nullptr) reason = std::string("no CUDA device can be used: ") + text;
  return driver;
}

OpenedDevice Open(int index) {
  std::string reason;
  std::shared_ptr<Driver> driver = OpenDriver(index, reason);
  if (driver == nullptr) return {nullptr, reason};
  return {NewDevice(std::move(driver), index), "asked for"};
}

}  // namespace gyrebox::kernels::cuda
