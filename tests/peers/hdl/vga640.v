// 640x480 progressive with separate syncs: DMT 04h, VIC 1 (references.md 5.1):
// H 640 + 16 + 96 + 48 = 800 clocks, V 480 + 10 + 2 + 33 = 525 lines. Counting starts at the leading edges of sync.
`timescale 1ps / 1ps
module vga640 #(
  parameter integer BITS = 3,
  parameter integer MODE = 0,
  parameter integer MOVING = 0,        // 1: every field has another picture
  parameter integer RISING = 1,        // 1: outputs change on the rising edge of the pixel clock
  parameter integer BUS_DELAY_PS = 0,  // from that edge to the bus (and display enable)
  parameter integer CPU_DIVIDER = 4,   // cpu clock = pixel clock / CPU_DIVIDER (even)
  parameter integer START_LINE = 400,  // line of the frame, counted from vertical sync, at which time starts
  parameter integer HSYNC_HIGH = 0,
  parameter integer VSYNC_HIGH = 0,
  parameter integer ENABLE_HIGH = 1
) (
  input pixel_clock,
  output reg cpu_clock, output reg hsync, output reg vsync, output reg enable,
  output reg [BITS-1:0] colour,
  output integer field                 // counts vertical syncs since time started
);
  `include "picture.vh"
  localparam integer H_SYNC = 96, H_BACK = 48, WIDTH = 640, H_TOTAL = 800;
  localparam integer V_SYNC = 2, V_BACK = 33, HEIGHT = 480, V_TOTAL = 525;

  integer column = 0, row = START_LINE, pixels = 0;
  integer x = -H_SYNC - H_BACK, y = START_LINE - V_SYNC - V_BACK, salt = 0;
  initial field = -1;

  wire launch = RISING ? pixel_clock : ~pixel_clock;
  always @(posedge launch) begin
    if (column == 0) begin
      if (row == 0) field = field + 1;
      salt = MOVING ? field + 2 : 0;
      vsync <= (row < V_SYNC) ? VSYNC_HIGH : !VSYNC_HIGH;
      y = row - V_SYNC - V_BACK;
      x = -H_SYNC - H_BACK;
      hsync <= HSYNC_HIGH;
    end
    if (column == H_SYNC) hsync <= !HSYNC_HIGH;
    // Only the active area costs simulation time: elsewhere the outputs keep their blanking levels.
    if (x >= 0 && x < WIDTH && y >= 0 && y < HEIGHT) begin
      enable <= #(BUS_DELAY_PS) ENABLE_HIGH;
      colour <= #(BUS_DELAY_PS) picture_code(x, y, WIDTH, HEIGHT, BITS, MODE, salt);
    end else if (x <= 0 || x == WIDTH) begin
      enable <= #(BUS_DELAY_PS) !ENABLE_HIGH;
      colour <= #(BUS_DELAY_PS) blanking_code(MODE);
    end
    cpu_clock <= pixels < CPU_DIVIDER / 2;
    pixels = (pixels == CPU_DIVIDER - 1) ? 0 : pixels + 1;
    x = x + 1;
    column = column + 1;
    if (column == H_TOTAL) begin
      column = 0;
      row = (row + 1) % V_TOTAL;
    end
  end
endmodule

// Runs the source from the middle of a frame until FIELDS whole frames have passed, and writes what it really showed:
// facts.txt ("name value" a line) and pictures.txt (a header a frame, then one line of decimal codes an active line; a header alone: the same picture again).
module vga640_bench;
  parameter integer BITS = 3, MODE = 0, MOVING = 0, RISING = 1, BUS_DELAY_PS = 0, CPU_DIVIDER = 4;
  parameter integer START_LINE = 400, HSYNC_HIGH = 0, VSYNC_HIGH = 0, ENABLE_HIGH = 1;
  parameter integer HALF_PERIOD_PS = 19861;  // 25.175 MHz is 19860.97 ps: 1.5 ppm slow, as one step of 1 ps allows
  parameter integer FIELDS = 2, TAIL_LINES = 20;
  parameter integer DUMP_CPU = 0, DUMP_ENABLE = 0, DUMP_ALL = 0;
  `include "picture.vh"

  reg pixel_clock = 0;
  wire cpu_clock, hsync, vsync, enable;
  wire [BITS-1:0] colour;
  wire integer field;
  vga640 #(
    .BITS(BITS), .MODE(MODE), .MOVING(MOVING), .RISING(RISING), .BUS_DELAY_PS(BUS_DELAY_PS),
    .CPU_DIVIDER(CPU_DIVIDER), .START_LINE(START_LINE), .HSYNC_HIGH(HSYNC_HIGH), .VSYNC_HIGH(VSYNC_HIGH),
    .ENABLE_HIGH(ENABLE_HIGH)
  ) source (pixel_clock, cpu_clock, hsync, vsync, enable, colour, field);

  always #(HALF_PERIOD_PS) pixel_clock = ~pixel_clock;

  initial begin
    $dumpfile("source.vcd");
    if (DUMP_ALL) $dumpvars(0, vga640_bench);
    else begin
      $dumpvars(0, pixel_clock, hsync, vsync, colour);
      if (DUMP_ENABLE) $dumpvars(0, enable);
      if (DUMP_CPU) $dumpvars(0, cpu_clock);
    end
  end

  integer facts, pictures, number, x, y;
  time began;
  initial begin
    facts = $fopen("facts.txt");
    $fwrite(facts, "clock_fs %0d\nclocks_per_line 800\nlines_per_frame 525\ninterlaced 0\n", 2000 * HALF_PERIOD_PS);
    $fwrite(facts, "active_x 144\nactive_y 35\nactive_width 640\nactive_height 480\n");
    $fwrite(facts, "second_field_offset_halves 0\nbits %0d\nblanking_code %0d\n", BITS, blanking_code(MODE));
    $fclose(facts);
    pictures = $fopen("pictures.txt");
    wait (field == 0);
    for (number = 0; number < FIELDS; number = number + 1) begin
      began = $time;
      wait (field == number + 1);
      $fwrite(pictures, "field %0d parity 0 vertical_fs %0d %0d\n", number, began / 1000, 1000 * (began % 1000));
      if (MOVING || number == 0) for (y = 0; y < 480; y = y + 1) begin
        for (x = 0; x < 640; x = x + 1)
          $fwrite(pictures, "%0d ", picture_code(x, y, 640, 480, BITS, MODE, MOVING ? number + 2 : 0));
        $fwrite(pictures, "\n");
      end
    end
    $fclose(pictures);
    #(TAIL_LINES * 1600 * HALF_PERIOD_PS) $finish;
  end
endmodule
