// A plain machine: counters of clocks and lines, nothing else. Every second line (field) may be of another length;
// line sync may come late. Sync changes with the rising clock; with DOUBLE the bus carries a pixel on each edge.
// pictures.txt: the rows of a picture, then EVEN and ODD, in which the rows are those of an interlaced frame.
`timescale 1ps / 1ps
module counted_bench;
  integer HALF = 160000;                 // half a clock, ps
  integer CLOCKS = 200, TURN = 0;        // clocks of a line; clocks that every second line has more
  integer LINES = 312, MORE = 0;         // lines of a field; lines that every second field has more
  integer INTERLACED = 0;                // fields of LINES and a half: the second field sync comes in mid-line
  integer SYNC = 15, BROAD = 500;        // clocks of line sync and of field sync
  integer X = 34, Y = 40, WIDTH = 144, HEIGHT = 200, DOUBLE = 0;
  integer LATE = 0, JITTER = 0;          // line sync one clock late in one line of LATE, at random; its scatter, ps rms
  integer LOSE = 0;                      // field sync LOSE is not there
  integer FIELDS = 2, START = 300;       // line in which time begins
  reg clock = 0, hsync = 1, vsync = 1;
  wire csync = hsync && vsync;
  reg [2:0] colour = 0;
  integer seen, file, x, p, row, length, height, line, odd = 0, field = 0, first = 1, since, late, shift, seed = 85, n, k;

  function [2:0] shown(input integer px, input integer py);
    integer hash;
    begin
      hash = px * 37 + py * 101 + (px * py) / 2;
      shown = (px < 4 || px >= WIDTH - 4) ? 3'd5 : 1 + (hash ^ (hash >> 5)) % 7;
    end
  endfunction

  initial begin
    seen = $value$plusargs("HALF=%d", HALF); seen = $value$plusargs("CLOCKS=%d", CLOCKS);
    seen = $value$plusargs("TURN=%d", TURN); seen = $value$plusargs("LINES=%d", LINES);
    seen = $value$plusargs("MORE=%d", MORE); seen = $value$plusargs("INTERLACED=%d", INTERLACED);
    seen = $value$plusargs("SYNC=%d", SYNC); seen = $value$plusargs("BROAD=%d", BROAD);
    seen = $value$plusargs("X=%d", X); seen = $value$plusargs("Y=%d", Y);
    seen = $value$plusargs("WIDTH=%d", WIDTH); seen = $value$plusargs("HEIGHT=%d", HEIGHT);
    seen = $value$plusargs("DOUBLE=%d", DOUBLE); seen = $value$plusargs("LATE=%d", LATE);
    seen = $value$plusargs("JITTER=%d", JITTER); seen = $value$plusargs("LOSE=%d", LOSE);
    seen = $value$plusargs("FIELDS=%d", FIELDS); seen = $value$plusargs("START=%d", START);
    file = $fopen("pictures.txt");
    for (n = 0; n < HEIGHT * (1 + INTERLACED); n = n + 1) begin
      for (k = 0; k < WIDTH; k = k + 1) $fwrite(file, "%0d ", shown(k, n));
      $fwrite(file, "\n");
    end
    $fclose(file);
    $dumpfile("counted.vcd");
    $dumpvars(0, clock, hsync, vsync, csync, colour);
    line = START % LINES;
    since = BROAD;
    while (field <= FIELDS) begin
      // An interlaced frame is counted whole: its second field sync comes LINES and a half after the first.
      height = INTERLACED ? 2 * LINES + 1 : LINES + (field % 2 ? MORE : 0);
      length = CLOCKS + (odd ? TURN : 0);
      late = LATE != 0 && $dist_uniform(seed, 1, LATE) == 1;
      shift = JITTER != 0 ? 4 * JITTER + $dist_normal(seed, 0, JITTER) : 0;
      if (shift < 0) shift = 0;
      for (x = 0; x < length * (1 + DOUBLE); x = x + 1) begin
        p = DOUBLE ? x / 2 : x;
        if ((line == 0 && x == 0) || (INTERLACED && line == LINES && p == CLOCKS / 2 && (!DOUBLE || x % 2 == 0))) since = 0;
        row = line - Y;
        k = 0;
        if (INTERLACED && line > LINES) begin row = line - LINES - 1 - Y; k = 1; end
        colour <= #3000 (x >= X && x < X + WIDTH && row >= 0 && row < HEIGHT)
          ? shown(x - X, INTERLACED ? 2 * row + k : row) : 3'd0;
        if (x == late * (1 + DOUBLE)) hsync <= #(10000 + shift) 0;
        if (x == (SYNC + late) * (1 + DOUBLE)) hsync <= #(10000 + shift) 1;
        vsync <= #10000 !(since < BROAD && field != LOSE);
        if (DOUBLE) begin
          clock = !(x % 2); #(HALF);
          if (x % 2) since = since + 1;
        end else begin
          clock = 1; #(HALF) clock = 0; #(HALF);
          since = since + 1;
        end
        if (INTERLACED && line == LINES && x == CLOCKS / 2 - 1) field = field + 1;
      end
      odd = !odd;
      line = line + 1;
      if (line >= height) begin line = 0; field = field + 1; end
    end
    $finish;
  end
endmodule
