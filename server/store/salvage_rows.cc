#include "store/salvage_rows.h"

#include <algorithm>

#include "store/sql/salvage.h"

namespace gyrebox::store {

constexpr const char* kTables[] = {"study",       "observable_list", "run",   "segment", "frame_bed", "frame", "state",
                                   "start_state", "journal",         "label", "edit",    "request",   "user",  "token"};
constexpr int kRowsAtATime = 2000;

/// Schema of a table of the new database.
struct Table {
  struct Column {
    std::string name, type;
    bool may_miss = false;  ///< may be missing in rows of older layouts
    bool may_be_null = false;
    bool is_rowid = false;
  };
  std::string name;
  std::vector<Column> columns;
  bool has_rowids = true;
};

static absl::StatusOr<Table> ReadTable(Connection& to, const char* name) {
  Table table{name, {}, true};
  {
    Statement row = to.Prepare(sql::kHasRowids);
    if (row.Bind(std::string(name)).Next()) table.has_rowids = row.Int(0) != 0;
    if (!row.status().ok()) return row.status();
  }
  Statement rows = to.Prepare(sql::kColumnsOf);
  rows.Bind(std::string(name));
  while (rows.Next()) {
    const std::string type = rows.Text(1);
    const bool is_null = rows.Int(2) == 0 && rows.Int(4) == 0;
    const bool is_rowid = table.has_rowids && rows.Int(4) == 1 && type == "INTEGER" && rows.Int(2) == 0;
    table.columns.push_back({rows.Text(0), type, is_null || rows.Int(3) != 0, is_null, is_rowid});
  }
  return rows.status().ok() ? absl::StatusOr<Table>(table) : rows.status();
}

static bool Fits(const Table::Column& column, const RawRow& row, const Value& value) {
  if (column.is_rowid) return row.rowid.has_value() && std::holds_alternative<std::monostate>(value);
  if (std::holds_alternative<std::monostate>(value)) return column.may_be_null;
  if (column.type == "INTEGER") return std::holds_alternative<int64_t>(value);
  if (column.type == "REAL") return std::holds_alternative<double>(value) || std::holds_alternative<int64_t>(value);
  return column.type == "TEXT" ? std::holds_alternative<Text>(value) : std::holds_alternative<Bytes>(value);
}

static bool Fits(const Table& table, const RawRow& row) {
  const size_t count = row.values.size();
  if (table.has_rowids != row.rowid.has_value() || count > table.columns.size() || count == 0) return false;
  for (size_t i = 0; i < count; ++i) {
    if (!Fits(table.columns[i], row, row.values[i])) return false;
  }
  return std::all_of(table.columns.begin() + static_cast<int64_t>(count), table.columns.end(),
                     [](const Table::Column& column) { return column.may_miss; });
}

namespace {

class Copier {
 public:
  Copier(PageFile& pages, Connection& to) : pages_(pages), to_(to) {}

  absl::StatusOr<FoundBeside> Run() {
    for (const char* name : kTables) {
      auto table = ReadTable(to_, name);
      if (!table.ok()) return table.status();
      tables_.push_back(*std::move(table));
    }
    status_ = to_.Execute("BEGIN");
    ReadSchema();
    for (const Table& table : tables_) {
      const auto root = roots_.find(table.name);
      if (root != roots_.end()) pages_.Walk(root->second, [&](const RawRow& row) { Take(table, row); });
    }
    for (const auto& [name, root] : roots_) {
      pages_.Walk(root, [&, own = name](const RawRow& row) { TakeBeside(own, row); });
    }
    pages_.WalkRest([&](bool, const std::vector<RawRow>& rows) {
      for (const RawRow& row : rows) Adopt(row);
    });
    found_.bad_pages = pages_.bad_pages().size();
    found_.bad_rows = pages_.bad_rows();
    status_.Update(to_.Execute("COMMIT"));
    return status_.ok() ? absl::StatusOr<FoundBeside>(std::move(found_)) : status_;
  }

 private:
  /// Reads the root pages of all B-trees, by name of table or index.
  void ReadSchema() {
    pages_.Walk(1, [&](const RawRow& row) {
      if (row.values.size() != 5) return;
      const auto* name = std::get_if<Text>(&row.values[1]);
      const auto* root = std::get_if<int64_t>(&row.values[3]);
      if (name != nullptr && root != nullptr && *root > 0) roots_[name->bytes] = static_cast<uint32_t>(*root);
    });
  }

  void Take(const Table& table, const RawRow& row) { Fits(table, row) ? Insert(table, row) : Adopt(row); }

  /// Uses a row of an index, or of a table that is not copied.
  void TakeBeside(const std::string& name, const RawRow& row) {
    if (name == "sqlite_sequence") NoteSequence(row);
    // The index holds all columns of a label.
    if (name == "label_by_study" && row.values.size() == 2) Adopt({std::nullopt, {row.values[1], row.values[0]}});
    if (name == "sqlite_autoindex_frame_1" && row.values.size() == 4) {
      std::vector<int64_t> key;
      for (const Value& value : row.values) {
        if (const auto* number = std::get_if<int64_t>(&value)) key.push_back(*number);
      }
      if (key.size() == 4) found_.frames_known.push_back(key);
    }
  }

  bool NoteSequence(const RawRow& row) {
    if (row.values.size() != 2 || !row.rowid) return false;
    const auto* name = std::get_if<Text>(&row.values[0]);
    const auto* number = std::get_if<int64_t>(&row.values[1]);
    if (name == nullptr || number == nullptr || (name->bytes != "study" && name->bytes != "token")) return false;
    found_.sequences[name->bytes] = std::max(found_.sequences[name->bytes], *number);
    return true;
  }

  /// Inserts a row of unknown origin, such as from below a bad page, if it fits exactly one table.
  void Adopt(const RawRow& row) {
    if (NoteSequence(row)) return;
    const Table* found = nullptr;
    for (const Table& table : tables_) {
      if (!Fits(table, row)) continue;
      if (found != nullptr) return;
      found = &table;
    }
    if (found != nullptr) Insert(*found, row);
  }

  void Insert(const Table& table, const RawRow& row) {
    if (!status_.ok()) return;
    std::string& sql = inserts_[{table.name, row.values.size()}];
    if (sql.empty()) {
      std::string names, indices;
      for (size_t i = 0; i < row.values.size(); ++i) {
        names += (i > 0 ? ", " : "") + table.columns[i].name;
        indices += i > 0 ? ", ?" : "?";
      }
      sql = "INSERT OR IGNORE INTO " + table.name + " (" + names + ") VALUES (" + indices + ")";
    }
    Statement insert = to_.Prepare(sql.c_str());
    for (size_t i = 0; i < row.values.size(); ++i) {
      const int index = static_cast<int>(i) + 1;
      const Value& value = row.values[i];
      if (table.columns[i].is_rowid) insert.BindAt(index, *row.rowid);
      if (const auto* number = std::get_if<int64_t>(&value)) insert.BindAt(index, *number);
      if (const auto* real = std::get_if<double>(&value)) insert.BindAt(index, *real);
      if (const auto* text = std::get_if<Text>(&value)) insert.BindAt(index, text->bytes);
      if (const auto* bytes = std::get_if<Bytes>(&value)) insert.BindAt(index, Statement::AsBlob(bytes->bytes));
    }
    // A rejected row is not a valid row of a store, which is no error; an unwritable database is one.
    const absl::Status done = insert.Run();
    if (absl::IsResourceExhausted(done) || absl::IsFailedPrecondition(done)) status_ = done;
    if (++rows_ % kRowsAtATime == 0 && status_.ok()) status_ = to_.Execute("COMMIT; BEGIN");
  }

  PageFile& pages_;
  Connection& to_;
  std::vector<Table> tables_;
  std::map<std::string, uint32_t> roots_;
  std::map<std::pair<std::string, size_t>, std::string> inserts_;
  FoundBeside found_;
  int64_t rows_ = 0;
  absl::Status status_;
};

}  // namespace

absl::StatusOr<FoundBeside> CopyRows(PageFile& pages, Connection& to) { return Copier(pages, to).Run(); }

}  // namespace gyrebox::store
