// User-supplied text, as displayed and written.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <sstream>

#include "lib/study_file.h"
#include "lib/study_writer.h"
#include "output/text_table.h"
#include "schema/visible_text.h"

namespace gyrebox {
namespace {

using schema::Visible;

TEST(VisibleTest, ShowsInvisibleCharacters) {
  EXPECT_EQ(Visible("plain, \xC3\xA4 \xE2\x82\xAC \xF0\x9F\x8E\xB2"), "plain, \xC3\xA4 \xE2\x82\xAC \xF0\x9F\x8E\xB2");
  EXPECT_EQ(Visible(std::string("a\0b\x1b[2Jc\x7f\n\t\r", 12)), "a\\u{0}b\\u{1b}[2Jc\\u{7f}\\u{a}\\u{9}\\u{d}");
  EXPECT_EQ(Visible("\xC2\x80\xC2\x9B\xC2\x9F\xC2\xA0"), "\\u{80}\\u{9b}\\u{9f}\xC2\xA0");
  EXPECT_EQ(schema::VisibleLines("a\n\tb\x1b"), "a\n\tb\\u{1b}");
}

// Unicode 15.1, PropList.txt: all code points with the property Bidi_Control.
TEST(VisibleTest, ShowsEveryControlOfDirection) {
  for (const char32_t code :
       {0x061C, 0x200E, 0x200F, 0x202A, 0x202B, 0x202C, 0x202D, 0x202E, 0x2066, 0x2067, 0x2068, 0x2069}) {
    EXPECT_TRUE(schema::IsHidden(code)) << std::hex << static_cast<unsigned>(code);
  }
  EXPECT_EQ(Visible("\xE2\x80\xAE"
                    "evil"),
            "\\u{202e}evil");
  EXPECT_EQ(Visible("\xD8\x9C"), "\\u{61c}");
  for (const char32_t code : {0x061B, 0x061D, 0x200D, 0x2010, 0x2027, 0x202F, 0x2065, 0x206A}) {
    EXPECT_FALSE(schema::IsHidden(code)) << std::hex << static_cast<unsigned>(code);
  }
}

// RFC 3629, section 3 (definition of UTF-8) and section 10 (overlong forms).
TEST(VisibleTest, ShowsBytesThatAreNoUtf8) {
  EXPECT_EQ(Visible("a\xFF\xC0\x80\xED\xA0\x80z"), "a\\x{ff}\\x{c0}\\x{80}\\x{ed}\\x{a0}\\x{80}z");
  EXPECT_EQ(Visible("\xE2\x82"), "\\x{e2}\\x{82}");
  EXPECT_EQ(Visible("\xF4\x90\x80\x80"), "\\x{f4}\\x{90}\\x{80}\\x{80}");
  EXPECT_TRUE(schema::HasHidden("\xE2\x82"));
}

TEST(VisibleTest, CutsBetweenCharacters) {
  EXPECT_EQ(schema::Clipped("abcdef", 6), "abcdef");
  EXPECT_EQ(schema::Clipped("abcdefg", 6), "abc...");
  EXPECT_EQ(schema::Clipped("ab\xE2\x82\xAC"
                            "defg",
                            7),
            "ab...");
}

std::string Csv(const client::Row& row) {
  std::ostringstream out;
  client::WriteCsv(out, row);
  return out.str();
}

// OWASP, "CSV Injection", https://owasp.org/www-community/attacks/CSV_Injection: cells that begin with = + - @, tab or
// carriage return.
TEST(CsvTest, NoTextIsAFormula) {
  EXPECT_EQ(Csv({"=1+1", "+cmd", "-cmd", "@SUM(A1)"}), "'=1+1,'+cmd,'-cmd,'@SUM(A1)\r\n");
  EXPECT_EQ(Csv({"\t=1", "\r=1"}), "\\u{9}=1,\\u{d}=1\r\n");
  EXPECT_EQ(Csv({"=a,\"b\""}), "\"'=a,\"\"b\"\"\"\r\n");
}

TEST(CsvTest, NumbersStayNumbers) { EXPECT_EQ(Csv({"-1", "+2.5", "-1e-5", "-inf", "3"}), "-1,+2.5,-1e-5,-inf,3\r\n"); }

TEST(CsvTest, NoPartOfACommentIsAFormula) {
  std::ostringstream out;
  client::WriteCsvComment(out, "a,=b;@c, d\n");
  EXPECT_EQ(out.str(), "# a, =b; @c, d\\u{a}\r\n");
}

TEST(TableTest, CellsAreVisible) {
  std::ostringstream out;
  client::WriteAligned(out, {{"a\x1b", "b"}, {"c", "d"}}, {client::Align::kLeft, client::Align::kLeft});
  EXPECT_EQ(out.str(), "a\\u{1b}  b\nc        d\n");
}

// TOML 1.0.0, "String": control characters must be escaped.
TEST(StudyFileTest, HiddenCharactersAreWrittenByNumber) {
  v1::StudySpec spec;
  spec.set_title("a\x1b\xE2\x80\xAE\"\\\n\xC2\x85z");
  const std::string text = client::StudyFileText(spec);
  EXPECT_EQ(text, "title = \"a\\u001b\\u202e\\\"\\\\\\n\\u0085z\"\n");
  EXPECT_EQ(client::ParseStudyFile(text).spec.title(), spec.title());
}

}  // namespace
}  // namespace gyrebox
