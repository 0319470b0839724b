// Composite sync and blanking with every interval given in picoseconds, to stand just inside or outside a limit.
// Half-line by half-line: broad pulses from O_V on, equalising pulses after and before, else line sync at line
// starts. Field blanking begins K before the first equalising pulse and lasts J; picture elsewhere from B after a
// line's start to C before the next. Written from BT.470 Fig. 2-1 and Tables 1-1, 1-2 (references.md 1.2, 1.3).
`timescale 1ps / 1ps
module exact_bench;
  integer H = 64_000_000, D = 4_700_000, P = 2_350_000, Q = 27_300_000, B = 10_500_000, C = 1_500_000;
  integer J = 1_612_000_000, K = 1_500_000;
  integer PRE = 5, BROAD = 5, POST = 5, HALVES = 625, FIELDS = 4, START = 560;
  integer ODD_LINE = -1, ODD = 0;     // this line (counted from the start) is ODD ps longer
  reg csync = 1, line_blank = 0, field_blank = 0;
  reg tag = 0;  // a few edges at times with no common divisor: the other times are too round for a simulator's
  wire blank = line_blank | field_blank;
  integer half, in_field, width, fields = 0, lines = 0;
  integer seen, tags;
  initial for (tags = 0; tags < 60; tags = tags + 1) #(1_000_003 + 17 * tags) tag = ~tag;
  initial begin
    seen = $value$plusargs("H=%d", H); seen = $value$plusargs("D=%d", D); seen = $value$plusargs("P=%d", P);
    seen = $value$plusargs("Q=%d", Q); seen = $value$plusargs("B=%d", B); seen = $value$plusargs("C=%d", C);
    seen = $value$plusargs("J=%d", J); seen = $value$plusargs("K=%d", K);
    seen = $value$plusargs("PRE=%d", PRE); seen = $value$plusargs("BROAD=%d", BROAD);
    seen = $value$plusargs("POST=%d", POST); seen = $value$plusargs("HALVES=%d", HALVES);
    seen = $value$plusargs("FIELDS=%d", FIELDS); seen = $value$plusargs("START=%d", START);
    seen = $value$plusargs("ODD_LINE=%d", ODD_LINE); seen = $value$plusargs("ODD=%d", ODD);
    $dumpfile("exact.vcd");
    $dumpvars(0, csync, blank, tag);
    half = START;                     // half-lines since a line start; even ones begin a line
    in_field = START % HALVES;
    while (fields < FIELDS) begin
      if (in_field < BROAD) width = Q;
      else if (in_field < BROAD + POST || in_field >= HALVES - PRE) width = P;
      else width = (half % 2 == 0) ? D : 0;
      if (width > 0) csync <= 0;
      csync <= #(width) 1;
      if (half % 2 == 0) begin
        line_blank <= #(B) 0;
        line_blank <= #(H - C + (lines == ODD_LINE ? ODD : 0)) 1;
        lines = lines + 1;
      end
      // A half-line ahead: the blanking begins before the first equalising pulse.
      if (in_field == HALVES - PRE - 1) begin
        field_blank <= #(H / 2 - K) 1;
        field_blank <= #(H / 2 - K + J) 0;
      end
      if (half % 2 == 1 && lines - 1 == ODD_LINE) #(H - H / 2 + ODD);
      else if (half % 2 == 1) #(H - H / 2);
      else #(H / 2);
      half = half + 1;
      in_field = in_field + 1;
      if (in_field == HALVES) begin
        in_field = 0;
        fields = fields + 1;
      end
    end
    #(6 * H) $finish;
  end
endmodule
