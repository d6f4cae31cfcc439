/** A film of the kept frames of a run: scrubbed with a slider, or played. */
import { numberText } from '../format/number.ts';
import { valueWithUnit } from '../format/words.ts';
import { drawBed } from '../plot/bed.ts';
import { type Context, numberOfRun } from './context.ts';
import { saveButtons } from './figure.ts';
import { type Child, html } from './html.ts';

/** Pixels, and milliseconds a frame. */
const SIZE = 460;
const PACE = 140;

/** Frames at which a played film stops: the last; it starts again from the first. */
export function nextFrame(at: number, count: number): number {
  return at + 1 < count ? at + 1 : 0;
}

export function filmOf(context: Context): Child[] {
  const { film } = context.data;
  if (!film || film.frames.length < 3) return [];
  const { frames } = film;
  const number = numberOfRun(film.run);
  const title = `Film of run ${number}`;
  const holder = html('div', { class: 'large-picture' });
  const time = html('output', {});
  const slider = html('input', {
    type: 'range',
    min: '0',
    max: String(frames.length - 1),
    value: String(frames.length - 1),
    'aria-label': `Frame of the film of run ${number}`,
  });
  let drawn: SVGElement | undefined;
  const show = (i: number) => {
    const words = valueWithUnit(numberText(frames[i]!.time), 'tau');
    drawn = drawBed(frames[i]!, `${title} at ${words}`, SIZE);
    holder.replaceChildren(drawn);
    slider.value = String(i);
    slider.setAttribute('aria-valuetext', words);
    time.textContent = words;
  };
  const play = html('button', { type: 'button' }, 'Play');
  let timer = 0;
  const stop = () => {
    clearInterval(timer);
    timer = 0;
    play.textContent = 'Play';
  };
  play.addEventListener('click', () => {
    if (timer !== 0) return stop();
    if (Number(slider.value) === frames.length - 1) show(0);
    play.textContent = 'Pause';
    timer = window.setInterval(() => {
      show(nextFrame(Number(slider.value), frames.length));
      if (Number(slider.value) === frames.length - 1) stop();
    }, PACE);
  });
  slider.addEventListener('input', () => {
    stop();
    show(Number(slider.value));
  });
  show(frames.length - 1);
  // With reduced motion the slider alone moves the film.
  play.hidden = matchMedia('(prefers-reduced-motion: reduce)').matches;
  const run = context.data.runs.find((one) => one.number === number);
  const words = `${frames.length} of its kept frames, ${numberText(frames[0]!.time)} to ${valueWithUnit(numberText(frames[frames.length - 1]!.time), 'tau')}.`;
  return [
    html(
      'section',
      { id: 'film', 'aria-labelledby': 'heading-film' },
      html('h2', { id: 'heading-film' }, 'Film'),
      html(
        'figure',
        { class: 'bed film' },
        html('h3', {}, run ? `${title}: ${context.pointText(context.settingsOf(run))}` : title),
        holder,
        html('div', { class: 'scrub' }, play, slider, time),
        html('figcaption', {}, words),
        html('div', { class: 'tools' }, ...saveButtons(title, `film_run_${number}`, () => drawn)),
      ),
    ),
  ];
}
