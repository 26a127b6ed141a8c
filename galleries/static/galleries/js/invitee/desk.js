// The agent's desk without a network.
import { data } from "../shared/dom.js";
import { settled } from "../shared/later.js";
import { before } from "./before.js";
import { stay } from "./kept.js";
import { holdPlaces } from "./places.js";

const config = data("without-network");
stay(config.words.stays);
holdPlaces(config.words);
await settled();
before(config);
