/** What documents and answers have to be, as JSON Schema. */
import { Argument, type Command } from 'commander';
import { z } from 'zod';
import { partiesJsonSchema } from '../../app/handover/parties.ts';
import { equipmentJsonSchema, planJsonSchema } from '../../app/plan/json-schema.ts';
import { reportDetailsJsonSchema } from '../../app/report/details.ts';
import { jsonLines } from './json.ts';
import { sayJson } from './say.ts';

type Answer = keyof typeof jsonLines;

/** Of one line of an answer; fields that a later version adds are no error. */
export const answerSchema = (answer: Answer): unknown => z.toJSONSchema(jsonLines[answer], { override: ({ jsonSchema }) => {
    delete jsonSchema.additionalProperties;
  } });

export function addSchemaCommands(program: Command): void {
  program
    .command('plan-schema')
    .description('print the JSON Schema of a plan')
    .action(() => sayJson(planJsonSchema(), 2));

  program
    .command('equipment-schema')
    .description('print the JSON Schema of an equipment record')
    .action(() => sayJson(equipmentJsonSchema(), 2));

  program
    .command('details-schema')
    .description('print the JSON Schema of the details of a report (--details)')
    .action(() => sayJson(reportDetailsJsonSchema(), 2));

  program
    .command('parties-schema')
    .description('print the JSON Schema of the parties of a certificate (tables --parties)')
    .action(() => sayJson(partiesJsonSchema(), 2));

  program
    .command('output-schema')
    .description('print the JSON Schema of a line that --json prints')
    .addArgument(new Argument('<answer>', 'whose').choices(Object.keys(jsonLines)))
    .action((answer: Answer) => sayJson(answerSchema(answer), 2));
}
