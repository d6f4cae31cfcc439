#include "study/observables.h"

namespace gyrebox::study {

std::vector<v1::Observable> ToObservables(const std::vector<kernels::Column>& columns) {
  std::vector<v1::Observable> observables;
  for (const kernels::Column& column : columns) {
    v1::Observable& observable = observables.emplace_back();
    observable.set_name(column.name);
    observable.set_unit(column.unit);
    observable.set_definition(column.definition);
    observable.set_width(column.width);
  }
  return observables;
}

}  // namespace gyrebox::study
