// The server gives the drawing script's address in place of ./echarts.js.
export * from 'echarts';
