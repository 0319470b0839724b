// A source whose only timing pins are blanking ones: hblank, vblank and the two together (blank), for 625/525-line
// families. Half-lines are counted from the field sync (O_V), which no pin carries. Field blanking as in references.md 1.3:
// it ends FIRST half-lines after O_V and begins LAST half-lines after it; with HALVES the picture then begins (ends) in
// mid-line in every other field, as in BT.470-6 Fig. 2-1; without, lines are whole, the first one the line that begins
// FIRST - 1 half-lines after O_V or the next half-line on.
// DOUBLE: the bus carries a pixel on each clock edge. pictures.txt: "field PARITY TICKS_PS", then active lines, blank = 0.
`timescale 1ps / 1ps
module blanking_bench;
  integer CLOCKS = 432, LINES = 625, INTERLACED = 1, HALVES = 0, BORDER = 1, DOUBLE = 0, FIELDS = 3, START = 400;
  integer FIRST = 45, LAST = 620, HALF = 74074, WIDTH = 352, DRIFT = 0;
  // HALF: half a clock, ps. WIDTH: active pixels. DRIFT: fs that every line is longer than the one before.
  reg clock = 0, hblank = 1, vblank = 1, blank = 1;
  reg [3:0] colour = 0;
  integer pixels, x, h, halves, in_field, whole, row, parity, fields = 0, file, seen, code, left, on, line = 0, v, was_v = 1;
  reg [31:0] hash;

  function integer visible(input integer place, input integer pixel);  // place: half-line in the field of this line's start
    if (HALVES)
      visible = pixel < pixels / 2 ? (place >= FIRST && place < LAST) : (place + 1 >= FIRST && place + 1 < LAST);
    else visible = place >= FIRST - 1 && place < LAST;
  endfunction

  initial begin
    seen = $value$plusargs("CLOCKS=%d", CLOCKS); seen = $value$plusargs("LINES=%d", LINES);
    seen = $value$plusargs("INTERLACED=%d", INTERLACED); seen = $value$plusargs("HALVES=%d", HALVES);
    seen = $value$plusargs("BORDER=%d", BORDER); seen = $value$plusargs("DOUBLE=%d", DOUBLE);
    seen = $value$plusargs("FIELDS=%d", FIELDS); seen = $value$plusargs("START=%d", START);
    seen = $value$plusargs("FIRST=%d", FIRST); seen = $value$plusargs("LAST=%d", LAST);
    seen = $value$plusargs("HALF=%d", HALF); seen = $value$plusargs("WIDTH=%d", WIDTH);
    seen = $value$plusargs("DRIFT=%d", DRIFT);
    pixels = CLOCKS * (1 + DOUBLE);
    halves = INTERLACED ? LINES : 2 * LINES;  // in a field
    $dumpfile("blanking.vcd");
    $dumpvars(0, clock, hblank, vblank, blank, colour);
    file = $fopen("pictures.txt");
    h = START - START % 2;
    row = -1;
    while (fields <= FIELDS) begin
      // Which field a line belongs to: that of its second half, so that a line cut in the middle is the later field's.
      whole = h + 1;
      parity = (whole / halves) % 2;
      in_field = h - (whole / halves) * halves;
      v = visible(in_field, 0) || visible(in_field, pixels - 1);
      if (v && !was_v) begin
        fields = fields + 1;
        $fwrite(file, "field %0d %0d\n", parity, $time);
        row = 0;
      end
      was_v = v;
      for (x = 0; x < pixels; x = x + 1) begin
        hash = (x * 73 + (x * x) / 7 + row * 29 + (row * row) / 3 + fields * 131) ^ (row * x);
        code = 1 + (hash ^ (hash >> 7)) % 14;
        left = (row * 37) % 60;
        if (BORDER && (x < 12 || x >= WIDTH - 12 || row < 6)) code = 9;
        if (!BORDER && (x < 30 + left || x >= WIDTH - 10 - (row * 53) % 90)) code = 0;
        if (x >= WIDTH || !visible(in_field, x)) code = 0;
        if (v && x < WIDTH) $fwrite(file, "%0d ", code);
        on = visible(in_field, x);
        colour <= #3000 code; hblank <= #3000 (x >= WIDTH); vblank <= #3000 !on; blank <= #3000 !(on && x < WIDTH);
        if (DOUBLE) begin
          clock = !(x % 2); #(HALF);
        end else begin
          clock = 1; #(HALF) clock = 0; #(HALF);
        end
      end
      if (v) begin $fwrite(file, "\n"); row = row + 1; end
      #(64 + (DRIFT * line) / 1000);
      line = line + 1;
      h = (h + 2) % (2 * halves);
    end
    $fclose(file);
    $finish;
  end
endmodule
