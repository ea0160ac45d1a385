// The form at the door, drawn without a socket: who has not signed in yet is given none.
import draw from "/door/form.js";

const data = JSON.parse(document.getElementById("form").textContent);
draw({ data: [data], parentElement: document.querySelector("main") });
