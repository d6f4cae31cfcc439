#include "study/observables.h"

#include "gyrebox/bins.h"

namespace gyrebox::study {

std::vector<v1::Observable> ToObservables(const std::vector<kernels::Column>& columns) {
  std::vector<v1::Observable> observables;
  for (const kernels::Column& column : columns) {
    v1::Observable& observable = observables.emplace_back();
    observable.set_name(column.name);
    observable.set_unit(column.unit);
    observable.set_definition(column.definition);
    observable.set_width(column.width);
    if (const kernels::Bins bins = kernels::BinsOf(column); bins.width > 0) {
      observable.set_first_bin(bins.first);
      observable.set_bin_width(bins.width);
      observable.set_bin_unit(bins.unit);
    }
  }
  return observables;
}

}  // namespace gyrebox::study
