import { sumOf, total, written } from "/static/galleries/js/shared/money.js";
import { same } from "./checks.js";

const price = (more) => ({
  unit: "4000",
  rate: null,
  included: true,
  digits: 2,
  decimal: ".",
  group: ",",
  placed: "EUR\u00a0{number}",
  ...more,
});

// The same cases as tests/papers/test_money.py, so that page and paper never differ.
export default {
  "extras are counted in whole minor units": () => {
    same(String(total(price(), 3)), "12000");
    same(String(total(price({ unit: "1999", rate: "19000", included: true }), 3)), "5997");
    same(String(total(price({ unit: "1999", rate: "19000", included: false }), 3)), "7136");
    same(String(total(price({ unit: "50", rate: "1000", included: false }), 1)), "51");
    same(String(total(price({ unit: "49", rate: "1000", included: false }), 1)), "49");
  },
  "sums beyond what a float counts stay exact": () => {
    same(String(total(price({ unit: "100000000000", rate: "9975", included: false }), 999)), "109865025000000");
  },
  "a sum is written as the language and the currency want it": () => {
    same(written(123450n, price()), "EUR\u00a01,234.50");
    same(written(5n, price()), "EUR\u00a00.05");
    same(written(1234500n, price({ digits: 0, placed: "{number}\u00a0JPY", group: "." })), "1.234.500\u00a0JPY");
    same(written(1500n, price({ digits: 3, decimal: "," })), "EUR\u00a01,500");
  },
  "nothing is written where nothing is to pay": () => {
    same(sumOf(null, 2), "");
    same(sumOf(price(), 0), "");
    same(sumOf(price(), -2), "");
    same(sumOf(price(), 2), "EUR\u00a080.00");
  },
};
