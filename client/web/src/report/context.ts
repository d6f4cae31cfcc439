/** What the parts of a report share: the data, and the way from a point to its runs and its bed. */
import {
  type AxisSetting,
  type Frame,
  frameKey,
  type Plot,
  type ReportData,
  type Run,
  type Snapshot,
} from '../answers.ts';
import { numberOf } from '../answers.ts';
import { settingsText } from '../format/words.ts';
import { sameSettings } from '../plot/singles.ts';

export interface Bed {
  snapshot: Snapshot;
  frame: Frame;
}

export class Context {
  /** A typical bed of each point that has a frame. */
  readonly beds: Bed[];
  /** Selected frames. */
  readonly selected: Bed[];
  /** Shows a bed large; set by the page. */
  showBed: (bed: Bed) => void = () => {};

  constructor(readonly data: ReportData) {
    this.beds = this.withFrames(data.answers.beds ?? []);
    this.selected = this.withFrames(data.answers.snapshots ?? []);
  }

  private readonly listeners: ((settings: AxisSetting[]) => void)[] = [];

  /** Calls a function when the reader chooses a point. */
  onPoint(listener: (settings: AxisSetting[]) => void): void {
    this.listeners.push(listener);
  }

  choosePoint(settings: AxisSetting[]): void {
    for (const listener of this.listeners) listener(settings);
  }

  /** "Amplitude = 30 rad/τ, frequency = 2 cycles/τ"; "all runs" for a study without axes. */
  pointText(settings: AxisSetting[]): string {
    return settings.length === 0 ? 'all runs' : settingsText(settings, this.axes);
  }

  get axes() {
    return this.data.answers.axes;
  }

  plot(name: string): Plot | undefined {
    return this.data.answers.answers.flatMap((answer) => answer.plots).find((plot) => plot.name === name);
  }

  /** Settings of a run. */
  settingsOf(run: Run): AxisSetting[] {
    return this.axes.map((axis, i) => ({ field: axis.field, value: run.at[i]! }));
  }

  /** The runs with these settings among theirs. */
  runsAt(settings: AxisSetting[]): Run[] {
    return this.data.runs.filter((run) => sameSettings(settings, this.settingsOf(run)));
  }

  bedAt(settings: AxisSetting[]): Bed | undefined {
    return this.beds.find(({ snapshot }) => sameSettings(settings, snapshot.at));
  }

  bedOfRun(number: number): Bed | undefined {
    return [...this.beds, ...this.selected].find(({ snapshot }) => numberOfRun(snapshot.run) === number);
  }

  private withFrames(snapshots: Snapshot[]): Bed[] {
    return snapshots.flatMap((snapshot) => {
      const frame = this.data.frames[frameKey(snapshot)];
      return frame ? [{ snapshot, frame }] : [];
    });
  }
}

/** 17 from studies/2/runs/17. */
export function numberOfRun(name: string): number {
  return numberOf(name.slice(name.lastIndexOf('/') + 1));
}
