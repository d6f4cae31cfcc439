/** Maps values to pixels. */

export interface Scale {
  readonly log: boolean;
  readonly domain: readonly [number, number];
  /** Pixel of a value; values beyond the domain lie beyond the axis. */
  toPixel(value: number): number;
  ticks: number[];
}

/** Decades that values must span for a logarithmic axis. */
const LOG_DECADES = 1.5;

/** Whether an axis is logarithmic: all values positive, spread over decades, and not evenly spaced as times are. */
export function wantsLog(values: number[]): boolean {
  const finite = values.filter(Number.isFinite);
  if (finite.length < 2) return false;
  const low = Math.min(...finite);
  const high = Math.max(...finite);
  return low > 0 && Math.log10(high / low) > LOG_DECADES && !isEven(finite);
}

/** Whether at least three distinct values are evenly spaced. */
export function isEven(values: number[]): boolean {
  const sorted = [...new Set(values)].sort((a, b) => a - b);
  if (sorted.length < 3) return false;
  const step = (sorted[sorted.length - 1]! - sorted[0]!) / (sorted.length - 1);
  return sorted.every((value, i) => Math.abs(value - sorted[0]! - i * step) < 0.05 * step);
}

/** Steps of 1, 2 or 5 times a power of ten; about `count` ticks, all within the domain. */
export function linearTicks(low: number, high: number, count: number): number[] {
  const rough = (high - low) / Math.max(1, count);
  if (!(rough > 0) || !Number.isFinite(rough)) return [low];
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = power * ([1, 2, 5, 10].find((factor) => factor * power >= rough * 0.999) ?? 10);
  const ticks: number[] = [];
  const slack = 1e-9 * step;
  for (let i = Math.ceil((low - slack) / step); i * step <= high + slack; ++i) {
    ticks.push(Number((i * step).toPrecision(12)) + 0);
  }
  return ticks;
}

/** 1, 2 and 5 times powers of ten; powers alone over many decades. */
export function logTicks(low: number, high: number, count: number): number[] {
  const first = Math.floor(Math.log10(low) + 1e-9);
  const last = Math.ceil(Math.log10(high) - 1e-9);
  const every = Math.max(1, Math.ceil((last - first) / Math.max(1, count)));
  const factors = (last - first) * 3 <= count + 2 ? [1, 2, 5] : (last - first) * 2 <= count + 2 ? [1, 3] : [1];
  const ticks: number[] = [];
  for (let power = first; power <= last; power += every) {
    for (const factor of factors) {
      const tick = Number(`${factor}e${power}`);
      if (tick >= low * (1 - 1e-9) && tick <= high * (1 + 1e-9)) ticks.push(tick);
    }
  }
  return ticks;
}

/**
 * Scale over all values, with a small margin at both ends.
 * @param extra ends of intervals: they widen a logarithmic axis by no more than half a decade at each end, since an end
 *     near 0 would compress everything else.
 */
export function makeScale(
  values: number[],
  extra: number[],
  pixels: readonly [number, number],
  tickCount: number,
): Scale {
  const log = wantsLog(values);
  const domain = log ? logDomain(values, extra) : linearDomain([...values, ...extra]);
  const map = log ? Math.log10 : (value: number) => value;
  const [low, high] = [map(domain[0]), map(domain[1])];
  return {
    log,
    domain,
    toPixel: (value) => pixels[0] + ((map(value) - low) / (high - low)) * (pixels[1] - pixels[0]),
    ticks: log ? logTicks(domain[0], domain[1], tickCount) : linearTicks(domain[0], domain[1], tickCount),
  };
}

function linearDomain(all: number[]): [number, number] {
  const [low, high] = extent(all);
  if (low > high) return [0, 1];
  const margin = high > low ? 0.04 * (high - low) : Math.abs(low) * 0.1 || 1;
  // Starts at 0 if that costs little room, so that heights can be compared.
  const from = low >= 0 && low < 0.35 * high ? (low === 0 ? -margin / 2 : 0) : low - margin;
  return [from, high + margin];
}

function logDomain(values: number[], extra: number[]): [number, number] {
  const [low, high] = extent(values);
  const [outerLow, outerHigh] = extent([low, high, ...extra.filter((value) => value > 0)]);
  return [Math.max(outerLow, low / 3) / 1.15, Math.min(outerHigh, high * 3) * 1.15];
}

function extent(values: number[]): [number, number] {
  let low = Infinity;
  let high = -Infinity;
  for (const value of values) {
    if (!Number.isFinite(value)) continue;
    low = Math.min(low, value);
    high = Math.max(high, value);
  }
  return [low, high];
}
