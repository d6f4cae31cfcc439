/** Maps values to pixels. */

export interface Scale {
  readonly log: boolean;
  readonly domain: readonly [number, number];
  /** Pixel of a value; values beyond the domain lie beyond the axis. */
  toPixel(value: number): number;
  ticks: number[];
  /** Pixel of a break between 0 and a logarithmic axis. */
  breakAt?: number;
}

/** Ratio that positive values must span for a logarithmic axis. */
const LOG_RATIO = 5;

/** Whether an axis is logarithmic: its values positive, spread over a ratio, and not evenly spaced as times are. */
export function wantsLog(values: number[], zeros = false): boolean {
  const finite = values.filter(Number.isFinite).filter((value) => !zeros || value !== 0);
  return canBeLog(finite) && ratioOf(finite) > LOG_RATIO && !isEven(values.filter(Number.isFinite));
}

/** Whether a logarithmic axis can show all values; with `zeros` 0 has a place beside the axis. */
export function canBeLog(values: number[], zeros = false): boolean {
  const finite = values.filter(Number.isFinite);
  return finite.filter((value) => value > 0).length > 1 && finite.every((value) => value > 0 || (zeros && value === 0));
}

function ratioOf(values: number[]): number {
  const [low, high] = extent(values);
  return high / low;
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

/** How a scale is made. */
export interface ScaleOptions {
  /** Logarithmic or not; by default as the values ask. */
  log?: boolean | undefined;
  /** Gives 0 a place beside a logarithmic axis. */
  zeros?: boolean;
}

/** Pixels beside a logarithmic axis for 0. */
const ZERO_ROOM = 34;

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
  { log: asked, zeros = false }: ScaleOptions = {},
): Scale {
  const log = (asked ?? wantsLog(values, zeros)) && canBeLog(values, zeros);
  if (log && values.includes(0)) return besideZero(values, extra, pixels, tickCount);
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

/** A logarithmic scale that begins beyond a break, with 0 before it. */
function besideZero(values: number[], extra: number[], pixels: readonly [number, number], tickCount: number): Scale {
  const room = Math.sign(pixels[1] - pixels[0]) * ZERO_ROOM;
  const positive = values.filter((value) => value !== 0);
  const scale = makeScale(positive, extra, [pixels[0] + room, pixels[1]], tickCount, { log: true });
  const zero = pixels[0] + room / 2.5;
  return {
    ...scale,
    toPixel: (value) => (value === 0 ? zero : scale.toPixel(value)),
    ticks: [0, ...scale.ticks],
    breakAt: pixels[0] + room * 0.8,
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
