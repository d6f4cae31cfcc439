/** Numbers for users. */

const MINUS = '\u2212';

/** A number with `digits` significant digits, without trailing zeros: 46.8, 0.0021, 3.1·10⁶. */
export function numberText(value: number, digits = 4): string {
  if (!Number.isFinite(value)) return Number.isNaN(value) ? 'none' : value > 0 ? 'infinite' : `${MINUS}infinite`;
  const rounded = Number(value.toPrecision(digits));
  const size = Math.abs(rounded);
  const text = size !== 0 && (size < 1e-4 || size >= 1e6) ? tenPower(rounded, undefined) : String(rounded);
  return text.replace(/^-/, MINUS);
}

/** 1.5·10⁻⁷; `decimals` applies to the mantissa, undefined for all its digits. */
function tenPower(value: number, decimals: number | undefined): string {
  const [part, power] = value.toExponential(decimals).split('e') as [string, string];
  const raised = [...String(Number(power))].map((c) => (c === '-' ? '⁻' : '⁰¹²³⁴⁵⁶⁷⁸⁹'[Number(c)])).join('');
  return `${part}·10${raised}`;
}

/** Decimals that keep two significant digits of an uncertainty; negative if these are tens or more. */
export function decimalsOf(uncertainty: number): number {
  const rounded = Number(uncertainty.toPrecision(2));
  return 1 - Math.floor(Math.log10(rounded));
}

/** A number with `decimals` decimals; a negative count rounds to tens, hundreds, ... */
export function fixedText(value: number, decimals: number): string {
  const scale = 10 ** -decimals;
  const text = decimals >= 0 ? value.toFixed(Math.min(decimals, 20)) : String(Math.round(value / scale) * scale);
  return (Number(text) === 0 ? text.replace(/^-/, '') : text).replace(/^-/, MINUS);
}

function textAt(value: number, decimals: number): string {
  const size = Math.abs(value);
  if (size !== 0 && (size >= 1e6 || size < 1e-4)) {
    return tenPower(value, Math.max(0, Math.floor(Math.log10(size)) + decimals)).replace(/^-/, MINUS);
  }
  return fixedText(value, decimals);
}

/**
 * A value with its interval, to two significant digits of the half-width: "46.8 ± 3.1" if the interval is symmetric,
 * else "26 (15 to 39)"; an end that is NaN is open: "13 (up to 29)". Without a value the range alone: "18 to 45"; a
 * half-open range then follows a dash: "– (from 28)".
 */
export function intervalText(value: number, low: number, high: number): string {
  const ends = [low, high].filter(Number.isFinite);
  const has = Number.isFinite(value);
  if (ends.length === 0) return has ? numberText(value) : '–';
  const uncertainty = uncertaintyOf(value, low, high);
  if (!(uncertainty > 0)) {
    const range = low === high ? numberText(low) : rangeText(low, high, numberText);
    return has
      ? `${numberText(value)} (${rangeText(low, high, numberText)})`
      : ends.length === 2
        ? range
        : `– (${range})`;
  }
  const decimals = decimalsOf(uncertainty);
  const text = (number: number) => textAt(number, decimals);
  if (!has) return rangeText(low, high, text);
  const isEven = ends.length === 2 && Math.abs(high + low - 2 * value) <= 0.02 * (high - low);
  return isEven ? `${text(value)} ± ${text(uncertainty)}` : `${text(value)} (${rangeText(low, high, text)})`;
}

/** Half the width; if one end is open, the distance from the value to the other. */
function uncertaintyOf(value: number, low: number, high: number): number {
  if (Number.isFinite(low) && Number.isFinite(high)) return (high - low) / 2;
  const end = Number.isFinite(low) ? low : high;
  return Number.isFinite(value) ? Math.abs(end - value) : NaN;
}

function rangeText(low: number, high: number, text: (value: number) => string): string {
  if (!Number.isFinite(low)) return `up to ${text(high)}`;
  if (!Number.isFinite(high)) return `from ${text(low)}`;
  return `${text(low)} to ${text(high)}`;
}
