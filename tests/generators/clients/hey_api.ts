import { client } from "./hey/client.gen.js";
import { recommendForJob, recommendForSheet } from "./hey/sdk.gen.js";

client.setConfig({ baseUrl: process.argv[2] });
const sheets = [{ material: "copy-paper", grammage_gsm: 80 }];
const { data, error } = await recommendForJob({ body: { sheets, limit: 1 } });
if (error || !data) throw error;
const wrong = await recommendForSheet({ query: { material: "coppy-paper", grammage_gsm: 80 } });
console.log(data.verdict, data.recommendations[0].setups[0].head?.type, wrong.error?.errors[0].code);
