// Reads an iCalendar file from the standard input with ical.js and prints what it understood as JSON.
import { readFileSync } from "node:fs";
import ICAL from "ical.js";

const calendar = new ICAL.Component(ICAL.parse(readFileSync(0, "utf8")));
const time = (value) => ({ value: value.toString(), is_date: value.isDate });
const event = (component) => {
  const first = (name) => component.getFirstPropertyValue(name);
  return {
    uid: first("uid"),
    summary: first("summary"),
    dtstart: time(first("dtstart")),
    dtend: time(first("dtend")),
    dtstamp: time(first("dtstamp")),
    last_modified: time(first("last-modified")),
    sequence: first("sequence"),
    status: first("status"),
    transp: first("transp"),
    class: first("class"),
  };
};
const told = {
  version: calendar.getFirstPropertyValue("version"),
  prodid: calendar.getFirstPropertyValue("prodid"),
  method: calendar.getFirstPropertyValue("method"),
  name: calendar.getFirstPropertyValue("x-wr-calname"),
  refresh_s: calendar.getFirstPropertyValue("refresh-interval")?.toSeconds(),
  events: calendar.getAllSubcomponents("vevent").map(event),
};
process.stdout.write(JSON.stringify(told));
