#include "lib/join_pages.h"

#include <utility>

namespace gyrebox::client {

/// Appends the continuation of an answer.
static void Join(v1::Answer part, v1::Answer* answer) {
  for (v1::Quantity& quantity : *part.mutable_quantities()) *answer->add_quantities() = std::move(quantity);
  for (v1::Plot& plot : *part.mutable_plots()) {
    const int last = answer->plots_size() - 1;
    if (last >= 0 && answer->plots(last).name() == plot.name()) {
      for (v1::PlotRow& row : *plot.mutable_rows()) *answer->mutable_plots(last)->add_rows() = std::move(row);
    } else {
      *answer->add_plots() = std::move(plot);
    }
  }
}

void JoinPage(v1::Answers page, v1::Answers* all) {
  if (all->study().empty()) {
    *all = std::move(page);
    all->clear_next_page_token();
    return;
  }
  for (v1::Answer& part : *page.mutable_answers()) {
    const int last = all->answers_size() - 1;
    if (last >= 0 && all->answers(last).topic() == part.topic()) {
      Join(std::move(part), all->mutable_answers(last));
    } else {
      *all->add_answers() = std::move(part);
    }
  }
}

}  // namespace gyrebox::client
