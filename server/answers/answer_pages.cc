#include "answers/answer_pages.h"

#include <utility>

namespace gyrebox::analysis {

/// Bytes of a nested message, with its tag and length and those of its parents.
template <class Message>
static size_t BytesOf(const Message& message) {
  constexpr size_t kFrames = 24;
  return message.ByteSizeLong() + kFrames;
}

/// Distributes answers over pages.
class AnswerCutter {
 public:
  AnswerCutter(v1::Answers first, size_t max_bytes) : max_bytes_(max_bytes) {
    study_ = first.study();
    bytes_ = BytesOf(first);
    pages_.push_back(std::move(first));
  }

  void Add(v1::Answer whole) {
    topic_ = whole.topic();
    auto quantities = std::move(*whole.mutable_quantities());
    auto plots = std::move(*whole.mutable_plots());
    whole.clear_quantities();
    whole.clear_plots();
    MakeRoom(BytesOf(whole));
    answer_ = pages_.back().add_answers();
    *answer_ = std::move(whole);
    for (v1::Quantity& quantity : quantities) {
      GoOnIfFull(BytesOf(quantity));
      *answer_->add_quantities() = std::move(quantity);
    }
    for (v1::Plot& plot : plots) Add(std::move(plot));
  }

  std::vector<v1::Answers> Take() && { return std::move(pages_); }

 private:
  void Add(v1::Plot whole) {
    auto rows = std::move(*whole.mutable_rows());
    whole.clear_rows();
    const std::string name = whole.name();
    GoOnIfFull(BytesOf(whole));
    v1::Plot* plot = answer_->add_plots();
    *plot = std::move(whole);
    for (v1::PlotRow& row : rows) {
      if (GoOnIfFull(BytesOf(row))) {
        plot = answer_->add_plots();
        plot->set_name(name);
      }
      *plot->add_rows() = std::move(row);
    }
  }

  /// Reserves bytes, on a new page if they do not fit. @return whether that page is new.
  bool MakeRoom(size_t bytes) {
    const bool full = bytes_ + bytes > max_bytes_;
    if (full) {
      pages_.emplace_back().set_study(study_);
      bytes_ = 0;
    }
    bytes_ += bytes;
    return full;
  }

  /// The same for a part of the current answer, which a new page continues.
  bool GoOnIfFull(size_t bytes) {
    if (!MakeRoom(bytes)) return false;
    answer_ = pages_.back().add_answers();
    answer_->set_topic(topic_);
    return true;
  }

  const size_t max_bytes_;
  std::string study_;
  std::vector<v1::Answers> pages_;
  size_t bytes_ = 0;  ///< of the last page
  v1::Answer::Topic topic_ = v1::Answer::TOPIC_UNSPECIFIED;
  v1::Answer* answer_ = nullptr;  ///< the current one, on the last page
};

std::vector<v1::Answers> CutIntoPages(v1::Answers whole, size_t max_bytes) {
  auto answers = std::move(*whole.mutable_answers());
  whole.clear_answers();
  AnswerCutter cutter(std::move(whole), max_bytes);
  for (v1::Answer& answer : answers) cutter.Add(std::move(answer));
  return std::move(cutter).Take();
}

std::vector<v1::StudyTable> CutIntoPages(v1::StudyTable whole, int max_rows, size_t max_bytes) {
  auto rows = std::move(*whole.mutable_rows());
  whole.clear_rows();
  std::vector<v1::StudyTable> pages = {whole};
  size_t bytes = BytesOf(whole);
  for (v1::TableRow& row : rows) {
    const bool full = pages.back().rows_size() == max_rows || bytes + BytesOf(row) > max_bytes;
    if (full && !pages.back().rows().empty()) {
      pages.push_back(whole);
      bytes = BytesOf(whole);
    }
    bytes += BytesOf(row);
    *pages.back().add_rows() = std::move(row);
  }
  return pages;
}

}  // namespace gyrebox::analysis
