import { measure, meeting, sound } from "/static/galleries/js/invitee/steady.js";
import { near, same } from "./checks.js";

const stage = { clientWidth: 390, clientHeight: 600 };
/** Where `Viewport` draws a picture: the point (x, y) of it in the middle of the stage. */
const drawn = ({ width, height }, { zoom, x, y }) => ({
  left: stage.clientWidth / 2 - x * width * zoom,
  top: stage.clientHeight / 2 - y * height * zoom,
  width: width * zoom,
  height: height * zoom,
});
const lower = { clientWidth: 390, clientHeight: 560 }; // a line of words more under the picture
const far = { width: 1365, height: 2048, eyes: [0.4, 0.3], gap: 0.08 },
  close = { width: 2048, height: 1365, eyes: [0.62, 0.45], gap: 0.13 };

export default {
  "the next face has the size and the place of this one, and going back changes nothing": () => {
    const whole = { zoom: 390 / 1365, x: 0.5, y: 0.5 },
      wanted = measure(far, drawn(far, whole), stage);
    const there = measure(close, drawn(close, meeting(close, wanted, stage)), stage);
    for (const part of ["apart", "x", "y"]) near(there[part], wanted[part], part);
    const back = meeting(far, there, stage);
    for (const part of ["zoom", "x", "y"]) near(back[part], whole[part], part);
  },
  "words that come under the picture move no face, and no stage is too low for the eyes": () => {
    const wanted = { apart: 0.2, x: 0.05, y: 0.6 };
    const at = (one) => {
      const { zoom, y } = meeting(far, wanted, one);
      return [zoom, one.clientHeight / 2 + (far.eyes[1] - y) * far.height * zoom];
    };
    const [size, down] = at(stage),
      [same_, down_] = at(lower);
    near(same_, size, "size");
    near(down_, down, "place");
    near(at({ clientWidth: 844, clientHeight: 200 })[1], 0.6 * 200, "place on a low stage");
  },
  "a frame whose eyes are not known has no measure and meets none": () => {
    const blind = { ...far, eyes: null, gap: null };
    same(measure(blind, drawn(far, { zoom: 1, x: 0.5, y: 0.5 }), stage), null);
    same(meeting(blind, { apart: 0.1, x: 0.5, y: 0.4 }, stage), null);
  },
  "what a device kept is believed only where it can be a measure": () => {
    same(sound('{"apart":0.1,"x":0.5,"y":0.4}'), { apart: 0.1, x: 0.5, y: 0.4 });
    for (const kept of [null, "", "1", "{}", '{"apart":-1,"x":0.5,"y":0.4}', '{"apart":"x","x":1,"y":1}'])
      same(sound(kept), null, String(kept));
  },
};
