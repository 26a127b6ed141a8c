// Pages of whoever is invited to no sitting, or to several: nothing is kept for them; without a network a form stays.
import { data } from "../shared/dom.js";
import { stay } from "./kept.js";
import { holdPlaces } from "./places.js";

const words = data("without-network");
stay(words.stays);
holdPlaces(words);
