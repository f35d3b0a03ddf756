// What makes the pages quicker with a keyboard. Every page is complete without it.
"use strict";
