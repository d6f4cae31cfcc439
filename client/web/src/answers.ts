/** What a study answers, as the server's JSON has it: see proto/gyrebox/v1/analysis.proto. */

/** A number of the JSON: those that are not finite are strings there. */
export type JsonNumber = number | string;

export interface AxisSetting {
  field: string;
  value: JsonNumber;
}

export interface Axis {
  field: string;
  unit: string;
  values: JsonNumber[];
}

export interface Quantity {
  name: string;
  unit: string;
  at: AxisSetting[];
  label: string;
  value?: JsonNumber;
  low?: JsonNumber;
  high?: JsonNumber;
  confidence: JsonNumber;
  trial_count: number;
  definition: string;
  method: string;
  reference: string;
  note: string;
}

export interface LeftOut {
  reason: string;
  count: number;
  runs: string[];
}

export interface PlotColumn {
  name: string;
  unit: string;
  role: string;
  definition: string;
  method: string;
  reference: string;
}

export interface PlotRow {
  values: JsonNumber[];
  label: string;
  mark: string;
}

export interface PlotMark {
  label: string;
  at: AxisSetting[];
  vertical: boolean;
  value: JsonNumber;
  low?: JsonNumber;
  high?: JsonNumber;
}

export interface Plot {
  name: string;
  title: string;
  columns: PlotColumn[];
  rows: PlotRow[];
  marks: PlotMark[];
}

export interface Answer {
  topic: string;
  title: string;
  summary: string;
  why_not: string;
  quantities: Quantity[];
  plots: Plot[];
  left_out: LeftOut[];
  cautions: string[];
}

export interface Answers {
  study: string;
  title: string;
  state: string;
  run_counts: Record<string, number>;
  observable: { name: string; unit: string; definition: string };
  axes: Axis[];
  options: Record<string, JsonNumber>;
  answers: Answer[];
  software_version: string;
  snapshots?: Snapshot[];
}

/** A bed worth a look. */
export interface Snapshot {
  run: string;
  caption: string;
  at: AxisSetting[];
  value?: JsonNumber;
}

/** Its picture, as the client wrote it. */
export interface Frame {
  step: number;
  time: number;
  bead_count: number;
  /** Sides of the bed in σ. */
  side_x: number;
  side_y: number;
  /** Size of the part that is shown, in σ. */
  width: number;
  height: number;
  /** Base64 of x and y of each bead in turn: little-endian numbers of 16 bits, in 1/65536 of width and height. */
  places: string;
  /** Base64 of a byte for each bead: 1 for a spinner, 0 for a passive bead. */
  kinds: string;
}

/** All that a report shows; written by the client. */
export interface ReportData {
  answers: Answers;
  study: { owner: string; create_time?: string; end_time?: string; note?: string; labels?: string[] };
  /** Of each snapshot; null where the server had none. */
  frames: (Frame | null)[];
  /** The study file, as it can be submitted again. */
  study_file: string;
  /** When the report was written, for people. */
  written: string;
}

/** NaN where there is none. */
export function numberOf(value: JsonNumber | undefined): number {
  return value === undefined ? NaN : Number(value);
}
