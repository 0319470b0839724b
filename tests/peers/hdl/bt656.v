// 8-bit component video with embedded timing codes (BT.656), 27 MHz: FF 00 00 XY, XY = 1 F V H P3 P2 P1 P0.
// Line structure, F and V by line from references.md 4.1, 4.2 (TI SPRU629 Tables 3-2 and 4-2): a line begins with
// EAV; 280 (268) words of 80 10; SAV; 1440 active words. Wrong protection bits on request.
`timescale 1ps / 1ps
module bt656_bench;
  integer L625 = 1, FIELDS = 3, START_LINE = 200, WRONG_EVERY = 0, WRONG_MASK = 1;
  localparam integer HALF = 18518;      // 27 MHz: 37.037 ns
  reg clock = 0;
  reg [7:0] data = 8'h80;
  integer line, lines, blanks, word, field_changes = 0, codes = 0, wrong = 0, seen, facts;
  integer WIDTH = 1440, pictures, value;  // WIDTH: active words; the line keeps its length
  reg f, v, last_f;

  function f_of(input integer n);
    f_of = L625 ? (n >= 313) : (n < 4 || n >= 266);
  endfunction
  function v_of(input integer n);
    v_of = L625 ? (n <= 22 || (n >= 311 && n <= 335) || n >= 624) : (n <= 19 || (n >= 264 && n <= 282));
  endfunction

  task put(input [7:0] value);
    begin
      data <= #3000 value;
      clock = 1;
      #(HALF) clock = 0;
      #(HALF);
    end
  endtask
  task code(input h);
    reg [7:0] xy;
    begin
      put(8'hFF); put(8'h00); put(8'h00);
      xy = {1'b1, f, v, h, v ^ h, f ^ h, f ^ v, f ^ v ^ h};
      codes = codes + 1;
      if (WRONG_EVERY > 0 && codes % WRONG_EVERY == 0) begin
        xy = xy ^ WRONG_MASK;
        wrong = wrong + 1;
      end
      put(xy);
    end
  endtask

  initial begin
    seen = $value$plusargs("L625=%d", L625); seen = $value$plusargs("FIELDS=%d", FIELDS);
    seen = $value$plusargs("START_LINE=%d", START_LINE); seen = $value$plusargs("WRONG_EVERY=%d", WRONG_EVERY);
    seen = $value$plusargs("WRONG_MASK=%d", WRONG_MASK);
    lines = L625 ? 625 : 525;
    seen = $value$plusargs("WIDTH=%d", WIDTH);
    blanks = (L625 ? 280 : 268) + 1440 - WIDTH;
    pictures = $fopen("pictures.txt");
    $dumpfile("bt656.vcd");
    $dumpvars(0, clock, data);
    line = START_LINE;
    last_f = f_of(line);
    while (field_changes <= FIELDS) begin
      f = f_of(line);
      v = v_of(line);
      if (f != last_f) field_changes = field_changes + 1;
      last_f = f;
      code(1);
      for (word = 0; word < blanks; word = word + 1) put(word % 2 ? 8'h10 : 8'h80);
      code(0);
      // Active words 1..254; each frame line has codes of its own, so that the order of the lines shows.
      if (!v) $fwrite(pictures, "%0d", line);
      for (word = 0; word < WIDTH; word = word + 1) begin
        value = v ? (word % 2 ? 8'h10 : 8'h80) : 1 + (word * 73 + word * word / 7 + line * 29) % 254;
        if (!v) $fwrite(pictures, " %0d", value);
        put(value);
      end
      if (!v) $fwrite(pictures, "\n");
      line = (line == lines) ? 1 : line + 1;
    end
    facts = $fopen("facts.txt");
    $fwrite(facts, "codes %0d\nwrong %0d\n", codes, wrong);
    $fclose(facts);
    $fclose(pictures);
    $finish;
  end
endmodule
