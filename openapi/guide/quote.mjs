// Ask what a whole job takes and costs: quote.mjs JOB.json
import { readFile } from "node:fs/promises";
import { setTimeout } from "node:timers/promises";

const service = process.env.STILLPIPE ?? "http://127.0.0.1:8000";

async function ask(path, body, tries = 6) {
  const headers = {
    Authorization: `Bearer ${process.env.STILLPIPE_KEY ?? ""}`,
    "Content-Type": "application/json",
  };
  const reply = await fetch(service + path, { method: "POST", headers, body });
  if (![429, 503].includes(reply.status) || tries === 1) return reply;
  await setTimeout(1000 * (1 + Math.random()) * Number(reply.headers.get("Retry-After") ?? 1));
  return ask(path, body, tries - 1);
}

const job = process.argv[2] ?? "openapi/examples/job-estimate-request.json";
const reply = await ask("/v1/job-estimate", await readFile(job));
const found = await reply.json();
if (!reply.ok) {
  console.log(found.title);
  for (const fault of found.errors ?? []) console.log(fault.pointer, fault.detail);
  process.exit(1);
}
const { verdict, quote, ready, planned_ready: cut, promises } = found;
console.log(`${verdict}: freeze ${quote.total}, drain down ${quote.drain_down_total} ${quote.currency}`);
console.log(`ready ${ready.likely} s (${ready.low} to ${ready.high}), cut at ${cut.value} s`);
for (const { by, chance } of promises)
  console.log(`done by ${Math.round(by.value / 60)} min with ${chance * 100} %`);
