/** Answers of a study in the JSON of the server: see proto/gyrebox/v1/analysis.proto. */

/** A number in the JSON; infinities and NaN are strings. */
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
  some_runs_excluded?: boolean;
  moves_with_step?: boolean;
}

export interface PlotMark {
  label: string;
  at: AxisSetting[];
  vertical: boolean;
  value: JsonNumber;
  low?: JsonNumber;
  high?: JsonNumber;
}

/** A stage of the schedule in a plot over time. */
export interface PlotStage {
  label: string;
  at: AxisSetting[];
  begin: number;
  end: number;
  amplitude: number;
  ramps: boolean;
}

export interface Plot {
  name: string;
  title: string;
  columns: PlotColumn[];
  rows: PlotRow[];
  marks: PlotMark[];
  stages?: PlotStage[];
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
  /** A typical bed of each point. */
  beds?: Snapshot[];
}

/** A selected frame of a run. */
export interface Snapshot {
  run: string;
  step: JsonNumber;
  caption: string;
  at: AxisSetting[];
  value?: JsonNumber;
}

/** The beads of a frame, as written by the client. */
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
  positions: string;
  /** Base64 of a byte for each bead: 1 for a spinner, 0 for a passive bead. */
  kinds: string;
}

/** Key of the frame of a snapshot. */
export function frameKey({ run, step }: { run: string; step: JsonNumber }): string {
  return `${run}@${step}`;
}

/** A run, as written by the client. */
export interface Run {
  number: number;
  /** Values of the axes in their order. */
  at: number[];
  trial: number;
  state: string;
  time: number;
  samples: number;
  seed: number;
  /** Fault, warning or reason why it is left out. */
  note: string;
}

/** All data of a report; written by the client. */
export interface ReportData {
  answers: Answers;
  study: { owner: string; create_time?: string; end_time?: string; note?: string; labels?: string[] };
  /** The frames of snapshots and beds that the server had, by run and step: see frameKey(). */
  frames: Record<string, Frame>;
  /** The runs; see RUNS_SHOWN in the client. */
  runs: Run[];
  /** Means of the series over realizations: growth, and structure of every point. */
  plots: Plot[];
  /** Kept frames of one run, in the order of time. */
  film: { run: string; frames: Frame[] } | null;
  /** The study file, ready to be submitted again. */
  study_file: string;
  /** When the report was written, as text. */
  written: string;
}

/** The number; NaN if there is none. */
export function numberOf(value: JsonNumber | undefined): number {
  return value === undefined ? NaN : Number(value);
}
