// Ticks and times in the site's own zone, across its clock changes, whatever zone the browser is in.
"use strict";
const trendAxis = (zone) => {
  const MINUTE = 60000, DAY = 86400000;
  const MINUTES = [1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720];
  const parts = new Intl.DateTimeFormat("en-GB", {
    timeZone: zone, hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit", second: "2-digit",
  });
  const face = (options) => new Intl.DateTimeFormat("en-GB", { timeZone: zone, ...options });
  const clock = face({ hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
  const weekday = face({ weekday: "short", day: "numeric" });
  const day = face({ day: "numeric", month: "short" });
  const month = face({ month: "short", year: "numeric" });
  const year = face({ year: "numeric" });
  const whole = face({ weekday: "short", day: "numeric", month: "short", year: "numeric", hour: "2-digit", minute: "2-digit", hourCycle: "h23" });

  // Local wall time as if it were UTC.
  function wall(instant) {
    const at = {};
    for (const { type, value } of parts.formatToParts(instant)) at[type] = Number(value);
    return Date.UTC(at.year, at.month - 1, at.day, at.hour, at.minute, at.second) + (((instant % 1000) + 1000) % 1000);
  }
  // The instant of a wall time; of two the first; null where the clocks went forward over it.
  function instant(there) {
    for (const guess of [there - (wall(there - DAY) - (there - DAY)), there - (wall(there + DAY) - (there + DAY))]) {
      if (wall(guess) === there) return guess;
    }
    return null;
  }
  function collect(begin, end, list) {
    const found = [];
    for (const [there, label] of list) {
      const at = instant(there);
      if (at !== null && at >= begin && at <= end) found.push({ v: at, label: label(at) });
    }
    return found;
  }
  function ticks(begin, end, width) {
    const most = Math.max(2, Math.floor(width / 75));
    const span = end - begin;
    const list = [];
    for (const minutes of MINUTES) {
      if (span / (minutes * MINUTE) > most) continue;
      const step = minutes * MINUTE;
      for (let there = Math.ceil(wall(begin) / step) * step - step; there <= wall(end) + step; there += step) {
        list.push([there, (at) => (there % DAY === 0 ? weekday.format(at) : clock.format(at))]);
      }
      return collect(begin, end, list);
    }
    for (const days of [1, 2, 7, 14]) {
      if (span / (days * DAY) > most) continue;
      const step = days * DAY;
      for (let there = Math.floor(wall(begin) / step) * step; there <= wall(end); there += step) list.push([there, day.format]);
      return collect(begin, end, list);
    }
    const months = [1, 2, 3, 6].find((count) => span / (count * 30.4 * DAY) <= most)
      || 12 * ([1, 2, 5, 10].find((count) => span / (count * 365 * DAY) <= most) || 20);
    const first = new Date(wall(begin));
    let count = Math.floor((first.getUTCFullYear() * 12 + first.getUTCMonth()) / months) * months;
    for (; ; count += months) {
      const there = Date.UTC(Math.floor(count / 12), count % 12, 1);
      if (there > wall(end)) break;
      list.push([there, months >= 12 ? year.format : month.format]);
    }
    return collect(begin, end, list);
  }
  return { ticks, whole: (at) => whole.format(at), short: (at) => `${weekday.format(at)} ${clock.format(at)}` };
};
