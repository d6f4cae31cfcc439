#include "neighbors/cells.h"

#include <gtest/gtest.h>

#include <random>
#include <set>

#include "model/fixed_point.h"

namespace gyrebox::kernels {
namespace {

using Positions = std::vector<std::uint32_t>;
using Pairs = std::set<std::pair<std::uint32_t, std::uint32_t>>;

struct Domain {
  double side_x, side_y, reach;
};
// Many cells; sides that are multiples of the reach; three cells; fewer than three along one or both sides.
const Domain kDomains[] = {{40, 30, 1.7},  {17, 8.5, 1.7}, {5.1, 5.1, 1.7},
                           {5.0, 30, 1.7}, {30, 4.1, 1.7}, {4, 3.5, 1.7}};

bool Near(const Domain& d, const Positions& x, const Positions& y, std::uint32_t i, std::uint32_t j) {
  const double dx = Difference(x[i], x[j], d.side_x * 0x1p-32), dy = Difference(y[i], y[j], d.side_y * 0x1p-32);
  return i != j && dx * dx + dy * dy < d.reach * d.reach;
}

Pairs TryingAll(const Domain& d, const Positions& x, const Positions& y) {
  Pairs pairs;
  for (std::uint32_t i = 0; i < x.size(); ++i) {
    for (std::uint32_t j = 0; j < x.size(); ++j) {
      if (Near(d, x, y, i, j)) pairs.insert({i, j});
    }
  }
  return pairs;
}

Pairs FromCells(const Domain& d, const Positions& x, const Positions& y) {
  const CellGrid grid(d.side_x, d.side_y, d.reach);
  CellOrder cells;
  SortIntoCells(grid, x, y, cells);
  Pairs pairs;
  for (std::uint32_t i = 0; i < x.size(); ++i) {
    grid.ForCellsAround(grid.Column(x[i]), grid.Row(y[i]), [&](int first, int last) {
      for (std::uint32_t k = cells.start[first]; k < cells.start[last + 1]; ++k) {
        if (!Near(d, x, y, i, cells.order[k])) continue;
        EXPECT_TRUE(pairs.insert({i, cells.order[k]}).second) << "a cell was visited twice";
      }
    });
  }
  return pairs;
}

void ExpectAllPairsFound(const Positions& x, const Positions& y) {
  for (const Domain& d : kDomains) {
    EXPECT_EQ(FromCells(d, x, y), TryingAll(d, x, y)) << d.side_x << " by " << d.side_y;
  }
}

TEST(Cells, FindAllPairsOfRandomBeads) {
  std::mt19937 random(1);
  Positions x(300), y(300);
  for (auto& position : x) position = random();
  for (auto& position : y) position = random();
  ExpectAllPairsFound(x, y);
}

TEST(Cells, FindAllPairsOnFacesAndCorners) {
  Positions x, y;
  const std::uint32_t edges[] = {0, 1, 0xffffffff, 0xfffffffe, 1u << 31, (1u << 31) - 1, 0x55555555, 0x55555556};
  for (const std::uint32_t a : edges) {
    for (const std::uint32_t b : edges) {
      x.push_back(a);
      y.push_back(b);
    }
  }
  ExpectAllPairsFound(x, y);
}

TEST(Cells, FindAllPairsOnTheFacesOfEveryCell) {
  for (const Domain& d : kDomains) {
    const CellGrid grid(d.side_x, d.side_y, d.reach);
    Positions x, y;
    for (int i = 0; i < std::min(grid.nx, 12); ++i) {
      for (int j = 0; j < std::min(grid.ny, 12); ++j) {
        x.push_back(ToFixed(static_cast<double>(i) / grid.nx) + static_cast<std::uint32_t>(j % 3) - 1);
        y.push_back(ToFixed(static_cast<double>(j) / grid.ny) + static_cast<std::uint32_t>(i % 3) - 1);
      }
    }
    EXPECT_EQ(FromCells(d, x, y), TryingAll(d, x, y));
  }
}

TEST(Cells, FindAllPairsOfBeadsInOneCell) {
  Positions x(40), y(40);
  for (std::uint32_t i = 0; i < 40; ++i) {
    x[i] = 0x80000000u + 1000 * i;
    y[i] = 0x80000000u - 777 * i;
  }
  ExpectAllPairsFound(x, y);
  EXPECT_EQ(FromCells(kDomains[0], x, y).size(), 40u * 39u);
}

TEST(Cells, SortingKeepsEveryBeadAndItsOrder) {
  std::mt19937 random(2);
  Positions x(1000), y(1000);
  for (auto& position : x) position = random();
  for (auto& position : y) position = random();
  const CellGrid grid(20, 20, 1.7);
  CellOrder cells;
  SortIntoCells(grid, x, y, cells);
  ASSERT_EQ(cells.start.size(), static_cast<std::size_t>(grid.count()) + 1);
  EXPECT_EQ(cells.start.front(), 0u);
  EXPECT_EQ(cells.start.back(), 1000u);
  for (int c = 0; c < grid.count(); ++c) {
    for (std::uint32_t k = cells.start[c]; k < cells.start[c + 1]; ++k) {
      EXPECT_EQ(grid.CellOf(x[cells.order[k]], y[cells.order[k]]), c);
      EXPECT_TRUE(k == cells.start[c] || cells.order[k - 1] < cells.order[k]);
    }
  }
}

TEST(Cells, OfNoBeadsAreEmpty) {
  CellOrder cells;
  SortIntoCells(CellGrid(20, 20, 1.7), {}, {}, cells);
  EXPECT_EQ(cells.start.back(), 0u);
  EXPECT_TRUE(cells.order.empty());
}

TEST(Cells, AreNeverNarrowerThanTheReach) {
  for (double side = 3.4; side < 60; side += 0.37) {
    const CellGrid grid(side, 2 * side, 1.7);
    EXPECT_GE(side / grid.nx, 1.7);
    EXPECT_GE(2 * side / grid.ny, 1.7);
    EXPECT_NE(grid.nx, 2);
    EXPECT_NE(grid.ny, 2);
  }
}

}  // namespace
}  // namespace gyrebox::kernels
