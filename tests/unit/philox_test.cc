// Published test vectors: Random123, tests/kat_vectors (Salmon, Moraes, Dror, Shaw, SC11, doi:10.1145/2063384.2063405).
#include "model/philox.h"

#include <gtest/gtest.h>

#include <array>

namespace gyrebox::kernels {
namespace {

using Word = std::uint32_t;
using Four = std::array<Word, 4>;

template <int rounds>
Four Answer(Four counter, std::array<Word, 2> key) {
  const auto w =
      Philox4x32<rounds>(Words4<Word>{counter[0], counter[1], counter[2], counter[3]}, Words2<Word>{key[0], key[1]});
  return {w.a, w.b, w.c, w.d};
}

constexpr Word kOnes = 0xffffffff;
constexpr Four kPiCounter = {0x243f6a88, 0x85a308d3, 0x13198a2e, 0x03707344};
constexpr std::array<Word, 2> kPiKey = {0xa4093822, 0x299f31d0};

TEST(Philox4x32, TenRoundsGiveThePublishedAnswers) {
  EXPECT_EQ(Answer<10>({0, 0, 0, 0}, {0, 0}), (Four{0x6627e8d5, 0xe169c58d, 0xbc57ac4c, 0x9b00dbd8}));
  EXPECT_EQ(Answer<10>({kOnes, kOnes, kOnes, kOnes}, {kOnes, kOnes}),
            (Four{0x408f276d, 0x41c83b0e, 0xa20bc7c6, 0x6d5451fd}));
  EXPECT_EQ(Answer<10>(kPiCounter, kPiKey), (Four{0xd16cfe09, 0x94fdcceb, 0x5001e420, 0x24126ea1}));
}

// Computed separately.
TEST(Philox4x32, TenRoundsOfACounterOfOne) {
  EXPECT_EQ(Answer<10>({1, 0, 0, 0}, {0, 0}), (Four{0xf8e4cca4, 0x5cb200db, 0xb1a574eb, 0x097eff67}));
}

TEST(Philox4x32, SevenRoundsGiveThePublishedAnswers) {
  EXPECT_EQ(Answer<7>({0, 0, 0, 0}, {0, 0}), (Four{0x5f6fb709, 0x0d893f64, 0x4f121f81, 0x4f730a48}));
  EXPECT_EQ(Answer<7>({kOnes, kOnes, kOnes, kOnes}, {kOnes, kOnes}),
            (Four{0x5207ddc2, 0x45165e59, 0x4d8ee751, 0x8c52f662}));
  EXPECT_EQ(Answer<7>(kPiCounter, kPiKey), (Four{0x4dfccaba, 0x190a87f0, 0xc47362ba, 0xb6b5242a}));
}

TEST(Philox2x32, TenRoundsGiveThePublishedAnswer) {
  const auto words = Philox2x32<10>(Words2<Word>{0, 0}, Word{0});
  EXPECT_EQ(words.a, 0xff1dae59u);
  EXPECT_EQ(words.b, 0x6cd10df2u);
}

}  // namespace
}  // namespace gyrebox::kernels
